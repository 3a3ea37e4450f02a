// Entries wait here until the server has them. They are put down on the device first, then sent in their order; what the
// server took is deleted, what it refused stays with its words until it is mended or given up by who made it.

const NAME = "broodwright";
const ADDRESS = "/api/v1/observations/";
const BATCH = 25;
const GIVE_UP_MS = 8000;
// photographs: so much in one sending, and so long for it over a weak link
const BATCH_CHARS = 3000000;
const CHARS_A_MS = 50;
const FILE_CHARS = 15000000;
const KEEP_OFFERS_MS = 36 * 3600 * 1000;

let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      const entries = request.result.createObjectStore("entries", { keyPath: "seq", autoIncrement: true });
      entries.createIndex("client_id", "client_id", { unique: true });
      request.result.createObjectStore("offers", { keyPath: "offer_id" });
    };
    request.onsuccess = () => {
      // another tab with a newer page may want to change the stores
      request.result.onversionchange = () => {
        request.result.close();
        opened = null;
      };
      resolve(request.result);
    };
    request.onerror = () => {
      opened = null;
      reject(request.error);
    };
  });
  return opened;
}

// one transaction; `work` is handed the stores and may return a request, whose result is the answer
async function within(mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(["entries", "offers"], mode);
    const asked = work(transaction.objectStore("entries"), transaction.objectStore("offers"));
    transaction.oncomplete = () => resolve(asked?.result);
    transaction.onabort = transaction.onerror = () => reject(transaction.error);
  });
}

// version 4; crypto.randomUUID is missing where the page came without TLS
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

export const all = () => within("readonly", (entries) => entries.getAll());
export const offers = () => within("readonly", (_, kept) => kept.getAll());

// put an entry down; one with the same id is replaced (a refused one that was mended)
export async function put(entry) {
  await within("readwrite", (entries, kept) => {
    const found = entries.index("client_id").get(entry.client_id);
    found.onsuccess = () => entries.put(found.result ? { ...entry, seq: found.result.seq } : entry);
    for (const offer of entry.offers || []) kept.put(offer);
  });
  changed();
}

export async function remove(clientId) {
  await within("readwrite", (entries, kept) => {
    const found = entries.index("client_id").get(clientId);
    found.onsuccess = () => {
      if (!found.result) return;
      for (const offer of found.result.offers || []) kept.delete(offer.offer_id);
      entries.delete(found.result.seq);
    };
  });
  changed();
}

// an entry that is on its way, or was and got no answer, may be written already: then it is not taken back
export async function takeBack(clientId) {
  while (running) await running.catch(() => {});
  return alone(async () => {
    const entry = (await all()).find((one) => one.client_id === clientId);
    if (!entry || entry.maybe_sent) return false;
    await remove(clientId);
    return true;
  });
}

async function settle(entry, answer, serverNow) {
  await within("readwrite", (entries, kept) => {
    if (answer.answer === "refused") {
      entries.put({ ...entry, state: "refused", words: answer.words, code: answer.code, field: answer.field });
      return;
    }
    entries.delete(entry.seq);
    // the mark of a meal stays for pages that were kept before the server knew of it
    for (const offer of entry.offers || []) kept.put({ ...offer, sent_at: serverNow });
    // a meal that was checked needs no mark on this device any more
    for (const id of entry.checks || []) kept.delete(id);
  });
}

const listeners = new Set();
export const onChange = (listener) => listeners.add(listener);
const channel = "BroadcastChannel" in window ? new BroadcastChannel("entries") : null;
channel?.addEventListener("message", () => tell());
function tell() {
  for (const listener of listeners) listener();
}
function changed() {
  tell();
  channel?.postMessage("changed");
}

export const person = () => document.body.dataset.person || "";
const token = () =>
  document.cookie.match(/(?:^|; )csrftoken=([^;]+)/)?.[1] || document.querySelector('meta[name="csrf-token"]').content;

// the link and the session as the last sending found them: "", "no-link" or "signed-out"
export let state = "";
let running = null;
let pause = 5000;
let timer = 0;

const photoChars = (entries) => entries.reduce((sum, one) => sum + (one.photo || "").length, 0);

// the first of what waits, cut where `most` entries or `chars` of photographs are reached; never empty
function firstOf(waiting, most, chars) {
  let count = 1;
  while (count < Math.min(most, waiting.length) && photoChars(waiting.slice(0, count + 1)) <= chars) count += 1;
  return waiting.slice(0, count);
}

async function post(entries) {
  const stop = new AbortController();
  const clock = setTimeout(() => stop.abort(), GIVE_UP_MS + photoChars(entries) / CHARS_A_MS);
  try {
    return await fetch(ADDRESS, {
      method: "POST",
      signal: stop.signal,
      credentials: "same-origin",
      redirect: "error",
      headers: { "Content-Type": "application/json", "X-CSRFToken": token() },
      body: JSON.stringify({
        device_now: new Date().toISOString(),
        entries: entries.map((one) => ({
          client_id: one.client_id,
          name: one.name,
          subject: one.subject,
          place: one.place,
          page: one.page,
          person: one.person,
          observed_at: one.observed_at,
          fields: one.fields,
          photo: one.photo,
        })),
      }),
    });
  } finally {
    clearTimeout(clock);
  }
}

async function sendAll() {
  const told = new Map();
  for (let first = true; ; first = false) {
    const here = person();
    const waiting = (await all()).filter((one) => one.state === "waiting" && one.person === here && !told.has(one.client_id));
    if (!waiting.length) {
      if (first) state = navigator.onLine ? "" : "no-link";
      break;
    }
    const batch = firstOf(waiting, BATCH, BATCH_CHARS);
    let answer;
    try {
      answer = await post(batch);
    } catch (error) {
      state = "no-link";
      if (error.name === "AbortError") {
        await within("readwrite", (entries) => {
          for (const one of batch) entries.put({ ...one, maybe_sent: true });
        });
      }
      break;
    }
    if (answer.status === 401 || answer.status === 403) {
      state = "signed-out";
      break;
    }
    if (!answer.ok) {
      // the server is there and cannot take them now: they stay, and are tried again
      state = "no-link";
      break;
    }
    state = "";
    const said = await answer.json();
    for (const one of said.entries) {
      const entry = batch.find((sent) => sent.client_id === one.client_id);
      told.set(one.client_id, one);
      if (one.answer === "another-person") state = "signed-out";
      else if (entry) await settle(entry, one, said.server_now);
    }
    changed();
    if (state) break;
  }
  return told;
}

// one tab at a time
const alone = (work) => (navigator.locks ? navigator.locks.request("entries", work) : work());

// send what waits; answers by client_id. Calls that come meanwhile get the sending after this one.
export async function send() {
  while (running) await running.catch(() => {});
  clearTimeout(timer);
  running = alone(sendAll);
  try {
    return await running;
  } finally {
    running = null;
    again();
    tell();
  }
}

async function again() {
  const waits = (await all()).some((one) => one.state === "waiting" && one.person === person());
  if (!waits || state === "signed-out") return;
  clearTimeout(timer);
  timer = setTimeout(() => send(), pause);
  pause = Math.min(pause * 2, 60000);
}

function retry() {
  pause = 5000;
  if (person()) send();
}

async function tidy() {
  const old = Date.now() - KEEP_OFFERS_MS;
  await within("readwrite", (_, kept) => {
    const cursor = kept.openCursor();
    cursor.onsuccess = () => {
      if (!cursor.result) return;
      if (Date.parse(cursor.result.value.observed_at) < old) cursor.result.delete();
      cursor.result.continue();
    };
  });
}

window.addEventListener("online", retry);
window.addEventListener("offline", () => {
  state = "no-link";
  tell();
});
window.addEventListener("pageshow", retry);
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) retry();
});
tidy();

// everything that waits, as a file (several where photographs make it large): the last resort, read by the page of waiting
// entries at any desk
export async function asFiles() {
  let rest = (await all()).map(({ seq, offers: _, checks: __, ...kept }) => kept);
  const files = [];
  while (rest.length) {
    const entries = firstOf(rest, rest.length, FILE_CHARS);
    rest = rest.slice(entries.length);
    const text = JSON.stringify({ kind: "waiting entries", device_now: new Date().toISOString(), entries }, null, 1);
    files.push(new Blob([text], { type: "application/json" }));
  }
  return files;
}
