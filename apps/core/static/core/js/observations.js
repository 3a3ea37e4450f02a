// A form with data-observation is put down on the device before it is sent; without this module it posts as any form.
//   data-observation  the name of the entry            data-subject  ref of the animal or rack it is about
//   data-place        ref of the tub or rack shown     data-then     where to go once it is written (else: here again)
// A page may add to an entry before it is put down: the form fires "observation:entry" with the entry as its detail, and
// "observation:kept" when it stays on the device, "observation:written" when the server has it.
import * as queue from "./queue.js";
import { NoPicture, smaller } from "./picture.js";

// a slow link holds nobody up: after this the entry counts as kept, and the head of the page says when it is gone
const PATIENCE_MS = 2500;
// a second tap with nothing changed in between is the same tap
const DOUBLE_MS = 1500;
const WHEN_SENT = { "signed-out": "It is sent when you have signed in again.", "no-link": "It is sent when the link is back." };
const shown = new Map(); // form -> the alert that says why it was refused

function fieldsOf(form, submitter) {
  const fields = {};
  for (const [name, value] of new FormData(form, submitter)) {
    if (name === "csrfmiddlewaretoken" || name === "request_key" || typeof value !== "string") continue;
    (fields[name] ??= []).push(value);
  }
  return fields;
}

export function toast(words, { needs = false, link = null, undo = null } = {}) {
  let box = document.querySelector(".toasts");
  if (!box) {
    box = document.createElement("div");
    box.className = "toasts";
    box.setAttribute("role", "status");
    document.querySelector("#content").prepend(box);
  }
  const line = document.createElement("p");
  line.className = needs ? "toast toast-needs" : "toast";
  const span = document.createElement("span");
  span.textContent = words;
  line.append(span);
  if (link) {
    const go = document.createElement("a");
    go.href = link.href;
    go.textContent = link.words;
    line.append(" ", go);
  }
  if (undo) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "btn btn-small";
    button.textContent = undo.words;
    button.addEventListener("click", () => undo.act(line));
    line.append(button);
  }
  box.replaceChildren(line);
  line.scrollIntoView({ block: "nearest" });
  return line;
}

function refused(form, answer) {
  form.dataset.entry = answer.client_id;
  let alert = shown.get(form);
  if (!alert) {
    alert = document.createElement("div");
    alert.className = "note note-needs";
    alert.setAttribute("role", "alert");
    form.prepend(alert);
    shown.set(form, alert);
  }
  const head = document.createElement("p");
  head.className = "head-line";
  head.textContent = "Not recorded.";
  const words = document.createElement("p");
  words.textContent = answer.words;
  alert.replaceChildren(head, words);
  for (const part of form.querySelectorAll("[data-when]")) {
    if (part.dataset.when.split(" ").includes(answer.code)) part.hidden = false;
  }
  alert.scrollIntoView({ block: "center" });
  const field = answer.field && form.querySelector(`[name="${CSS.escape(answer.field)}"]:not([type="hidden"])`);
  field?.focus();
}

// a tablet asks for the PIN, any other device for the password; both come back here
function signIn() {
  const here = window.location.pathname + window.location.search;
  return { href: `/pin/?next=${encodeURIComponent(here)}`, words: "Sign in" };
}

// what the form holds was kept a moment ago already
function isDouble(form, submitter) {
  if (Date.now() - Number(form.dataset.keptAt || 0) > DOUBLE_MS) return false;
  return JSON.stringify(fieldsOf(form, submitter)) === form.dataset.keptFields;
}

function cleared(form) {
  shown.get(form)?.remove();
  shown.delete(form);
  delete form.dataset.entry;
}

function leave(form, words) {
  sessionStorage.setItem("toast", words);
  form.dataset.leaving = "1"; // a tap while the next page is on its way is the same tap
  const then = form.dataset.then;
  if (then) window.location.assign(then);
  else window.location.replace(window.location.href.split("#")[0]);
}

// the picture chosen in a form, made small; null where none is
async function pictureOf(form) {
  const file = form.querySelector('input[type="file"]')?.files[0];
  return file ? smaller(file) : null;
}

async function take(form, submitter) {
  const typed = fieldsOf(form, submitter);
  let photo;
  try {
    photo = await pictureOf(form);
  } catch (error) {
    if (!(error instanceof NoPicture)) throw error;
    refused(form, { client_id: form.dataset.entry || "", words: error.message, field: "photo" });
    return;
  }
  const entry = {
    client_id: form.dataset.entry || queue.newId(),
    name: form.dataset.observation,
    subject: form.dataset.subject || "",
    place: form.dataset.place || "",
    page: window.location.pathname,
    title: form.dataset.title || document.querySelector("h1")?.textContent.trim() || document.title,
    person: queue.person(),
    person_name: document.body.dataset.personName || "",
    observed_at: new Date().toISOString(),
    fields: { ...typed },
    state: "waiting",
    words: "",
  };
  if (photo !== null) entry.photo = photo;
  form.dispatchEvent(new CustomEvent("observation:entry", { detail: entry }));
  await queue.put(entry);
  const patience = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS, new Map()));
  const answer = (await Promise.race([queue.send(), patience])).get(entry.client_id);
  if (!answer || answer.answer === "another-person") {
    cleared(form);
    const why = WHEN_SENT[queue.state] || "It is on its way.";
    const link = queue.state === "signed-out" ? signIn() : null;
    toast(`Kept here. ${why}`, { link, undo: { words: "Undo", act: (line) => takeBack(form, entry, line) } });
    form.dataset.keptAt = String(Date.now());
    form.dataset.keptFields = JSON.stringify(typed);
    // the same picture is not taken twice; another one is chosen anew
    if (photo !== null) form.reset();
    form.dispatchEvent(new CustomEvent("observation:kept", { detail: entry }));
    return;
  }
  if (answer.answer === "refused") {
    refused(form, answer);
    return;
  }
  cleared(form);
  form.dispatchEvent(new CustomEvent("observation:written", { detail: entry }));
  leave(form, answer.words);
}

async function takeBack(form, entry, line) {
  if (!(await queue.takeBack(entry.client_id))) {
    line.textContent = "It was sent meanwhile, or may have been. Strike it out on the animal’s page.";
    return;
  }
  delete form.dataset.keptAt;
  line.remove();
  form.dispatchEvent(new CustomEvent("observation:undone", { detail: entry }));
}

// before the other listeners: what is put down here is not posted
document.addEventListener(
  "submit",
  (event) => {
    const form = event.target;
    if (!form.dataset?.observation || !queue.person()) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    // a double tap is one entry, also when the first tap is kept here or the next page is on its way
    if (form.dataset.taking || form.dataset.leaving || isDouble(form, event.submitter)) return;
    form.dataset.taking = "1";
    take(form, event.submitter)
      .catch((error) => {
        // no room on the device, or it refuses to keep anything: then as without this module
        console.warn("entry not kept on the device", error);
        delete form.dataset.observation;
        form.requestSubmit(event.submitter);
      })
      .finally(() => delete form.dataset.taking);
  },
  true,
);

// back by the back button from where an entry led
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-leaving]")) delete form.dataset.leaving;
});

// what the last page had to say
const words = sessionStorage.getItem("toast");
if (words) {
  sessionStorage.removeItem("toast");
  const kept = words.includes("Kept for a decision");
  toast(words, kept ? { needs: true, link: { href: "/care/kept/", words: "decide" } } : {});
}

// the head of the page says how many wait, and of whom
const note = document.querySelector("[data-waiting]");
async function count() {
  if (!note) return;
  const here = queue.person();
  const entries = await queue.all();
  const mine = entries.filter((one) => one.person === here);
  const refusedCount = mine.filter((one) => one.state === "refused").length;
  const others = entries.length - mine.length;
  const parts = [];
  if (mine.length - refusedCount) parts.push(`${mine.length - refusedCount} waiting`);
  if (refusedCount) parts.push(`${refusedCount} not taken`);
  if (others) parts.push(`${others} of somebody else`);
  if (!parts.length && (queue.state === "no-link" || !navigator.onLine)) parts.push("no connection");
  if (queue.state === "signed-out" && mine.length) parts.push("sign in to send");
  note.hidden = !parts.length;
  // hidden before the first count as after it: who asks whether all is sent needs to tell the two apart
  note.dataset.counted = entries.length;
  note.querySelector("[data-waiting-words]").textContent = parts.join(", ");
}
queue.onChange(count);
count();

// a refused entry comes back into its form: /page/#mend=ID
const mend = window.location.hash.match(/^#mend=([0-9a-f-]{36})$/)?.[1];
if (mend) {
  queue.all().then((entries) => {
    const entry = entries.find((one) => one.client_id === mend && one.person === queue.person());
    const form = entry && [...document.querySelectorAll("form[data-observation]")].find(
      (one) => one.dataset.observation === entry.name && (one.dataset.subject || "") === entry.subject,
    );
    if (!form) return;
    for (const field of form.elements) {
      const values = entry.fields[field.name];
      if (!field.name || field.type === "hidden" || field.type === "submit") continue;
      if (field.type === "checkbox" || field.type === "radio") field.checked = Boolean(values?.includes(field.value));
      else if (values) field.value = values[0];
    }
    form.closest("details")?.setAttribute("open", "");
    refused(form, entry);
  });
}

// whoever types a PIN or a password is here: the lock of the next page begins anew
if (/^\/(pin|sign-in)\//.test(window.location.pathname)) {
  document.addEventListener("submit", () => localStorage.setItem("touched", String(Date.now())));
}

// the shell of the screens and one's own round, for when the link is gone (needs https or this very machine)
if ("serviceWorker" in navigator && window.isSecureContext) navigator.serviceWorker.register("/worker.js").catch(() => {});
