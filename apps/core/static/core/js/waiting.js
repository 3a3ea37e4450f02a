// The list of what waits on this device: one's own in full, of others only how many.
import * as queue from "./queue.js";

const box = document.querySelector("[data-entries]");
const list = box.querySelector("[data-list]");
const line = document.querySelector("[data-line]");
const NAMES = { "rack-offer": "offered", "rack-check": "checked", weight: "weight", offer: "food offered", check: "meal checked", shed: "shed", mark: "water, cleaned, droppings", condition: "body shape", note: "health note", photo: "photograph" };

function what(entry) {
  const own = ["mass_g", "kind", "seen", "stage", "outcome", "text", "caption"].flatMap((name) => entry.fields[name] || []);
  const tubs = entry.fields.shown?.length ? ` ${entry.fields.shown.length} tubs` : "";
  return `${NAMES[entry.name] || entry.name}${tubs}${own.length ? `: ${own.join(", ")}` : ""}`;
}

function drawn(entry) {
  const item = line.content.cloneNode(true).firstElementChild;
  item.querySelector(".when").textContent = new Date(entry.observed_at).toLocaleString("en-GB", { weekday: "short", hour: "2-digit", minute: "2-digit" });
  item.querySelector("strong").textContent = entry.title;
  item.querySelector("[data-what]").textContent = what(entry);
  if (entry.state !== "refused") return item;
  const why = item.querySelector("[data-why]");
  why.hidden = false;
  why.textContent = ` Not taken: ${entry.words}`;
  const mend = item.querySelector("[data-mend]");
  mend.hidden = false;
  mend.href = `${entry.page}#mend=${entry.client_id}`;
  const give = item.querySelector("[data-give-up]");
  give.hidden = false;
  give.append(Object.assign(document.createElement("span"), { className: "unseen", textContent: ` ${entry.title}` }));
  give.addEventListener("click", () => {
    if (give.dataset.sure) queue.remove(entry.client_id);
    else {
      give.dataset.sure = "1";
      give.textContent = "Give it up for good";
    }
  });
  return item;
}

async function draw() {
  const entries = await queue.all();
  const mine = entries.filter((one) => one.person === queue.person());
  const others = new Map();
  for (const one of entries) if (!mine.includes(one)) others.set(one.person_name, (others.get(one.person_name) || 0) + 1);
  list.replaceChildren(...mine.map(drawn));
  for (const [name, count] of others) {
    const item = document.createElement("li");
    item.className = "waiting-line";
    item.textContent = `${count} of ${name}’s wait${count === 1 ? "s" : ""} until ${name} is back: sign in or type the PIN.`;
    list.append(item);
  }
  list.hidden = !entries.length;
  box.querySelector("[data-none]").hidden = entries.length > 0;
  box.querySelector("[data-save]").hidden = !entries.length;
  box.querySelector("[data-send]").hidden = !mine.some((one) => one.state === "waiting") || queue.state === "signed-out";
  box.querySelector("[data-sign-in]").hidden = !(queue.state === "signed-out" || others.size);
}

box.querySelector("[data-send]").addEventListener("click", () => queue.send());
box.querySelector("[data-save]").addEventListener("click", async () => {
  const files = await queue.asFiles();
  const stamp = new Date().toISOString().slice(0, 16).replace(":", "");
  files.forEach((file, index) => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(file);
    link.download = `waiting-entries-${stamp}${files.length > 1 ? `-${index + 1}` : ""}.json`;
    link.click();
    URL.revokeObjectURL(link.href);
  });
});
queue.onChange(draw);
draw();
