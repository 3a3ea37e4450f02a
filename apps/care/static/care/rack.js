// A rack in two passes. The one button says both counts in its words; without this module it says so in general, and the
// form posts. What was offered on this device and has not reached the server yet can be checked here all the same.
import * as queue from "../core/js/queue.js";

const form = document.querySelector("form[data-rack]");
const button = form?.querySelector("button[data-words]");
const isOffer = form?.dataset.observation === "rack-offer";
const boxes = () => [...form.querySelectorAll('.rack-tub input[type="checkbox"]')];

function say() {
  const all = boxes();
  const tapped = all.filter((box) => box.checked).length;
  button.textContent = button.dataset.words
    .replace("{free}", String(all.length - tapped))
    .replace("{tapped}", String(tapped));
  button.disabled = !all.length || (isOffer && tapped === all.length);
}

// a tub whose answer waits on this device: drawn closed, with the word
function close(tub, words) {
  const link = document.createElement("div");
  link.className = "rack-tub rack-closed";
  link.dataset.ref = tub.dataset.ref;
  const code = tub.querySelector("strong").cloneNode(true);
  const state = document.createElement("span");
  state.className = "state";
  state.textContent = words;
  link.append(code, state);
  tub.replaceWith(link);
}

// a tub that can be tapped: the same as the server draws
function open(tub, value, words) {
  const made = document.querySelector("[data-tub-template]").content.cloneNode(true).firstElementChild;
  made.dataset.ref = tub.dataset.ref;
  made.querySelector("strong").textContent = tub.querySelector("strong").textContent;
  const [box, hidden] = made.querySelectorAll("input");
  box.value = hidden.value = value;
  box.setAttribute("aria-label", `${tub.querySelector("strong").textContent}: ${form.dataset.tapped}`);
  made.querySelector(".when-free .state > span").textContent = words;
  tub.replaceWith(made);
}

const clock = (moment) => new Date(moment).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

// draw in what this device knows and the server does not
async function local() {
  const entries = (await queue.all()).filter((one) => one.subject === form.dataset.subject);
  // a page made after the server had the offer says itself what became of it
  const made = Date.parse(form.dataset.made);
  const mine = (await queue.offers()).filter(
    (one) => one.rack === form.dataset.subject && one.person === queue.person() && !(Date.parse(one.sent_at) <= made),
  );
  const checked = new Map();
  for (const entry of entries.filter((one) => one.name === "rack-check" && one.state === "waiting")) {
    for (const value of entry.fields.shown || []) {
      const fate = (entry.fields.left || []).includes(value) ? "left" : "ate";
      for (const name of value.split(".")) checked.set(name, fate);
    }
  }
  for (const tub of form.querySelectorAll(".rack-tub[data-ref]")) {
    const offer = mine.find((one) => one.animal === tub.dataset.ref);
    const value = tub.querySelector('input[name="shown"]')?.value || "";
    const fate = checked.get(offer?.offer_id) || checked.get(value.split(".")[0]);
    if (fate && !isOffer) close(tub, `${fate}, waiting`);
    else if (offer && isOffer) close(tub, `offered ${clock(offer.observed_at)}`);
    else if (offer && !value) open(tub, offer.offer_id, `${offer.words}, ${clock(offer.observed_at)}`);
  }
  const any = boxes().length > 0;
  if (any) form.hidden = false;
  const nothing = document.querySelector("[data-nothing]");
  if (nothing && any) nothing.hidden = true;
  say();
}

if (form && button) {
  form.addEventListener("change", say);
  form.addEventListener("observation:entry", (event) => {
    const entry = event.detail;
    if (!isOffer) {
      entry.checks = (entry.fields.shown || []).flatMap((value) => value.split("."));
      return;
    }
    const skipped = new Set(entry.fields.skip || []);
    const refs = (entry.fields.shown || []).filter((ref) => !skipped.has(ref));
    const food = [entry.fields.size?.[0], entry.fields.prey?.[0]].filter(Boolean).join(" ");
    entry.offers = refs.map((animal) => ({
      offer_id: queue.newId(),
      animal,
      rack: entry.subject,
      person: entry.person,
      observed_at: entry.observed_at,
      words: food,
    }));
    entry.fields.offer_id = entry.offers.map((one) => `${one.animal}:${one.offer_id}`);
  });
  form.addEventListener("observation:kept", local);
  form.addEventListener("observation:undone", () => window.location.reload());
  // coming back by the back button: what was drawn may be old
  window.addEventListener("pageshow", (event) => {
    if (event.persisted && navigator.onLine) window.location.reload();
  });
  local();
}
