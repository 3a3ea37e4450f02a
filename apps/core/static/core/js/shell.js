// Keys, guards and small comforts of every page. Everything here also works without: forms post, links lead.

const typing = (element) => element && (element.matches("input, textarea, select") || element.isContentEditable);

// htmx sends the token that Django asks for
document.addEventListener("htmx:configRequest", (event) => {
  event.detail.headers["X-CSRFToken"] = document.querySelector('meta[name="csrf-token"]').content;
});

// A label reader types a whole code within a few milliseconds a letter and presses Enter. Outside fields such a burst is
// looked up, and none of its letters sets a one-key act off: an act waits until it is sure that no other key follows.
const READER_GAP_MS = 70;
const READER_LEAST = 4;
let burst = "";
let burstAt = 0;
let held = null;

function act(key) {
  const target = document.querySelector(`[data-key="${CSS.escape(key)}"]:not([disabled])`);
  if (!target) return false;
  const press = () => {
    held = null;
    target.focus();
    target.click();
  };
  if (key.length > 1) press();
  else held = setTimeout(press, READER_GAP_MS);
  return true;
}

// "/" searches; a key printed on a button presses it
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (typing(document.activeElement)) {
    if (event.key === "Escape") document.activeElement.blur();
    return;
  }
  const inBurst = event.timeStamp - burstAt < READER_GAP_MS && burst !== "";
  if (held && inBurst) {
    clearTimeout(held);
    held = null;
  }
  const seek = document.querySelector("[data-seek]");
  if (event.key === "Enter") {
    if (inBurst && burst.length >= READER_LEAST && seek) {
      event.preventDefault();
      event.stopImmediatePropagation();
      seek.value = burst;
      seek.form.requestSubmit();
    }
    burst = "";
    return;
  }
  if (event.key.length === 1) {
    burst = inBurst ? burst + event.key : event.key;
    burstAt = event.timeStamp;
    if (burst.length > 1) {
      event.preventDefault();
      return;
    }
  }
  if (event.key === "/") {
    if (seek) {
      event.preventDefault();
      burst = "";
      seek.focus();
      seek.select();
    }
    return;
  }
  if (act(event.key)) event.preventDefault();
});

// rows of a table: arrows move, Enter opens, a click anywhere on the row opens it
document.addEventListener("keydown", (event) => {
  const row = event.target.closest?.("tr[data-href]");
  if (!row || event.target !== row) return;
  if (event.key === "Enter" || event.key === "o") window.location.assign(row.dataset.href);
  const step = { ArrowDown: "nextElementSibling", ArrowUp: "previousElementSibling" }[event.key];
  if (!step) return;
  let next = row[step];
  while (next && !next.matches("tr[data-href]")) next = next[step];
  if (next) {
    event.preventDefault();
    next.focus();
  }
});
document.addEventListener("click", (event) => {
  if (event.target.closest("a, button, input, select, label, summary")) return;
  const row = event.target.closest("tr[data-href]");
  if (row && !window.getSelection().toString()) window.location.assign(row.dataset.href);
});

// a double tap sends once; coming back to the page lets the form be sent again
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post" || event.defaultPrevented) return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "1";
  window.setTimeout(() => delete form.dataset.sent, 4000);
});
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});

// day room, dim room, or as the device says
for (const button of document.querySelectorAll("[data-theme-choice]")) {
  const current = document.documentElement.dataset.theme || "";
  button.setAttribute("aria-pressed", String(button.dataset.themeChoice === current));
  button.addEventListener("click", () => {
    const choice = button.dataset.themeChoice;
    document.cookie = `theme=${choice}; path=/; max-age=${choice ? 63072000 : 0}; samesite=lax`;
    if (choice) document.documentElement.dataset.theme = choice;
    else delete document.documentElement.dataset.theme;
    for (const other of document.querySelectorAll("[data-theme-choice]")) {
      other.setAttribute("aria-pressed", String(other === button));
    }
  });
}

// one open menu at a time, closed by Escape or a click elsewhere
document.addEventListener("click", (event) => {
  for (const menu of document.querySelectorAll("details.menu[open]")) {
    if (!menu.contains(event.target)) menu.open = false;
  }
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const menu of document.querySelectorAll("details.menu[open]")) {
    menu.open = false;
    menu.querySelector("summary").focus();
  }
});
