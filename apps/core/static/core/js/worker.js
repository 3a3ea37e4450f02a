// The service worker: the shell of the screens, and the care pages of the person who is signed in, for when the link is gone.
// It keeps pages of one person only. Signing out, a change of hands or a locked tablet throws them away; entries that wait
// are not touched by any of it (they lie in the page's own store).
const SHELL = "shell-__VERSION__";
const PAGES = "pages";
const OWNER = "/__owner__";
const SHELL_FILES = __FILES__;
const SLOW_MS = 4000;
// what a round needs; everything else wants the link
const KEPT_PAGES = [/^\/care\/$/, /^\/care\/waiting\/$/, /^\/care\/racks\/[^/]+\/(offer|check)\/$/, /^\/care\/rounds?\//, /^\/rounds?\//, /^\/animals\/[^/]+\/care\/$/];
const ENDS_IT = [/^\/sign-out\/$/, /^\/sign-in\/$/, /^\/pin\/$/];

self.addEventListener("install", (event) => {
  event.waitUntil(
    (async () => {
      const shell = await caches.open(SHELL);
      await Promise.all(SHELL_FILES.map((file) => shell.add(file).catch(() => {})));
      await self.skipWaiting();
    })(),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      for (const name of await caches.keys()) if (name !== SHELL && name !== PAGES) await caches.delete(name);
      await self.clients.claim();
    })(),
  );
});

async function owner() {
  const kept = await (await caches.open(PAGES)).match(OWNER);
  return kept ? kept.text() : "";
}

// one page after the other: two that both found nobody's pages here would each throw the other's away
let keeping = Promise.resolve();
function keep(address, response, before) {
  keeping = keeping.catch(() => {}).then(() => keepOne(address, response, before));
  return keeping;
}

// keep a page of this person; another person's pages go first. `before` are the hands it was asked for by.
async function keepOne(address, response, before) {
  // a server that is down says nothing of who is here
  if (response.status >= 500 || hands !== before) return;
  const person = response.headers.get("X-Person") || "";
  if (person !== (await owner())) {
    await caches.delete(PAGES);
    if (!person) return;
    await (await caches.open(PAGES)).put(OWNER, new Response(person));
  }
  if (person && response.ok && !response.redirected) await (await caches.open(PAGES)).put(address, response.clone());
  if (hands !== before) await caches.delete(PAGES);
}

function wants(url) {
  return KEPT_PAGES.some((pattern) => pattern.test(url.pathname)) && !url.searchParams.has("one");
}

// needed later in the round: the other pass over the same rack, and the list of what waits
async function fetchTheOthers(url, before) {
  const rack = url.pathname.match(/^\/care\/racks\/([^/]+)\/offer\/$/);
  const kept = await caches.open(PAGES);
  for (const path of [rack && `/care/racks/${rack[1]}/check/`, "/care/waiting/", "/care/"]) {
    if (!path || hands !== before) continue;
    const other = new Request(path, { credentials: "same-origin" });
    // the pass over the rack is as new as its page; the others are only kept where they were never opened
    if (path.includes("/racks/") || !(await kept.match(other.url))) await keep(other.url, await fetch(other), before);
  }
}

async function page(event, url) {
  const request = event.request;
  const before = hands;
  const address = request.url.split("#")[0];
  const kept = wants(url) ? await (await caches.open(PAGES)).match(address) : undefined;
  let late;
  const asked = fetch(request).then(async (response) => {
    if (wants(url)) {
      const copy = response.clone();
      event.waitUntil(keep(address, copy, before).then(() => fetchTheOthers(url, before)).catch(() => {}));
    }
    return response.status >= 500 && kept ? kept.clone() : response;
  });
  try {
    if (!kept) return await asked;
    const slow = new Promise((resolve) => (late = setTimeout(resolve, SLOW_MS, kept.clone())));
    return await Promise.race([asked, slow]);
  } catch {
    return kept || noLink();
  } finally {
    clearTimeout(late);
    asked.catch(() => {});
  }
}

const NO_LINK = `<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>No connection</title><h1>No connection</h1><p>This page needs the link. What was entered on this device is kept on it.</p>
<p><a href="/care/waiting/">What waits here</a></p><p><a href="/care/">Feeding</a></p></html>`;

async function file(request) {
  const shell = await caches.open(SHELL);
  const hashed = /\.[0-9a-f]{12}\.[a-z0-9]+$/.test(new URL(request.url).pathname);
  const kept = await shell.match(request.url);
  if (kept && hashed) return kept;
  try {
    const response = await fetch(request);
    if (response.ok) await shell.put(request.url, response.clone());
    return response;
  } catch (error) {
    if (kept) return kept;
    throw error;
  }
}

const noLink = () => new Response(NO_LINK, { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });

// hands that changed: a page asked for before is not kept after
let hands = 0;

// signing out throws the pages away even without the link; the pages of signing in do once they were shown
async function leave(request) {
  hands += 1;
  if (request.method === "POST") await caches.delete(PAGES);
  try {
    const response = await fetch(request);
    await caches.delete(PAGES);
    return response;
  } catch {
    return noLink();
  }
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (url.origin !== self.location.origin) return;
  if (event.request.mode === "navigate" && ENDS_IT.some((pattern) => pattern.test(url.pathname))) {
    event.respondWith(leave(event.request));
    return;
  }
  if (event.request.method !== "GET") return;
  if (url.pathname.startsWith("/static/")) event.respondWith(file(event.request));
  else if (event.request.mode === "navigate") event.respondWith(page(event, url));
});
