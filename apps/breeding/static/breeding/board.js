// Keys of the season board: arrows move, Enter opens a row in place, o goes to the page, f finds. Without this module links do the same.
const table = document.querySelector("table[data-rows]");
const typing = (target) => target.closest("input, select, textarea, [contenteditable]");
const rows = () => [...table.querySelectorAll("tr[data-row]")];

function move(step) {
  const all = rows();
  const here = all.indexOf(document.activeElement.closest("tr[data-row]"));
  const next = all[Math.min(Math.max(here + step, 0), all.length - 1)];
  if (next) {
    next.querySelector("[data-open]").focus();
    next.scrollIntoView({ block: "nearest" });
  }
}

document.addEventListener("keydown", (event) => {
  if (!table || event.ctrlKey || event.metaKey || event.altKey || typing(event.target)) return;
  if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    move(event.key === "ArrowDown" ? 1 : -1);
    event.preventDefault();
    event.stopPropagation();
    return;
  }
  if (event.key === "f") {
    document.querySelector('[data-key-focus="f"]').focus();
    event.preventDefault();
    event.stopPropagation();
    return;
  }
  if (!"osv".includes(event.key) || event.key.length !== 1) return;
  const row = document.activeElement.closest("tr[data-row]") || table.querySelector("tr.opened-row");
  if (!row) return;
  const link = row.querySelector(`[data-key="${event.key}"]`) || (event.key === "o" && row.querySelector("[data-open]"));
  if (link) {
    event.preventDefault();
    event.stopPropagation();
    link.click();
  }
}, true);

// filters take effect when chosen; the button serves without this module
const tools = document.querySelector("form.board-tools");
if (tools) {
  tools.querySelectorAll("[data-auto-hide]").forEach((button) => (button.hidden = true));
  tools.addEventListener("change", (event) => {
    if (event.target.matches("select")) tools.requestSubmit();
  });
}

// a swapped row keeps the focus where it was
document.body.addEventListener("htmx:afterSwap", (event) => {
  const id = event.detail.target && event.detail.target.id;
  if (id && id.startsWith("f-")) document.getElementById(id)?.querySelector("[data-open]")?.focus();
});
