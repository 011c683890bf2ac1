// The service worker: the app's files, and the pages that were opened or fetched ahead, for a phone without a signal.
// Nothing that was tapped is kept here: that is the outbox's, in the page.
"use strict";
const APP = `app-${VERSION}`;
const PAGES = "pages";
const PAGES_MOST = 120;
const PATIENCE = 3000; // ms, that a page is waited for where the phone has a copy

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const app = await caches.open(APP);
    try {
      await app.addAll(FILES.map((file) => new Request(file, { cache: "reload" }))); // all of them, or none
    } catch (error) {
      await caches.delete(APP);
      throw error; // the one before stays in charge, with its own files
    }
    await self.skipWaiting(); // safe while old pages are open: their files have addresses of their own
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    // One release back stays, for pages that were drawn for it.
    const apps = (await caches.keys()).filter((name) => name.startsWith("app-") && name !== APP);
    await Promise.all(apps.slice(0, -1).map((name) => caches.delete(name)));
    await self.clients.claim();
  })());
});

// Pages are kept by the path; what is asked behind it is part of it but for a word that is said once.
const keyOf = (address) => {
  const url = new URL(address);
  return /^\/days\/\d+$/.test(url.pathname) ? url.pathname : url.pathname + url.search;
};

const keep = async (address, response) => {
  const headers = new Headers(response.headers);
  headers.set("x-kept-at", new Date().toISOString());
  const copy = new Response(await response.blob(), { status: 200, headers });
  const pages = await caches.open(PAGES);
  await pages.put(keyOf(address), copy);
  const keys = await pages.keys();
  await Promise.all(keys.slice(0, -PAGES_MOST).map((key) => pages.delete(key)));
};

const isPage = (response) => response.status === 200 && (response.headers.get("content-type") ?? "").startsWith("text/html")
  && !(response.headers.get("cache-control") ?? "").includes("no-store");

// A kept page says so, and since when.
const kept = async (address) => {
  const copy = await (await caches.open(PAGES)).match(keyOf(address), { ignoreVary: true });
  if (!copy) return null;
  const at = copy.headers.get("x-kept-at");
  const text = (await copy.text()).replace("<html", `<html data-kept="${at}"`);
  return new Response(text, { headers: copy.headers });
};

// In the language of the browser: what was chosen in Lychgate is in a cookie, which no worker sees.
const [LANGUAGE, NO_SIGNAL, NOT_HERE, LOOK_THERE] = WORDS[navigator.language.split("-")[0]] ?? WORDS.en;
const NOWHERE = `<!doctype html><html lang="${LANGUAGE}"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark"><title>${NO_SIGNAL} · Lychgate</title><link rel="stylesheet" href="${FILES[0]}"></head>
<body class="plain"><nav aria-label="Lychgate"><a href="/">Lychgate</a></nav><main><h1>${NOT_HERE}</h1>
<p>${LOOK_THERE}</p></main></body></html>`;

const page = async (event) => {
  const { request } = event;
  const asking = (async () => {
    const response = await fetch(request);
    if (isPage(response)) event.waitUntil(keep(request.url, response.clone()).catch(() => {})); // a full phone keeps none
    if (response.status === 401) event.waitUntil(caches.delete(PAGES)); // whoever was signed out reads on nowhere
    return response;
  })();
  asking.catch(() => {});
  const late = new Promise((resolve) => { setTimeout(resolve, PATIENCE, null); });
  try {
    const response = await Promise.race([asking, late]);
    if (response && response.status < 500) return response;
    return await kept(request.url) ?? await asking;
  } catch {
    return await kept(request.url) ?? new Response(NOWHERE, { status: 503, headers: { "content-type": "text/html; charset=utf-8" } });
  }
};

// A page that came while a newer version could not be installed brings files of its own: they are kept as they come.
const file = async (event) => {
  const { request } = event;
  const known = await caches.match(request, { ignoreVary: true });
  if (known) return known;
  try {
    const response = await fetch(request);
    if (response.ok) {
      const copy = response.clone();
      event.waitUntil(caches.open(APP).then((app) => app.put(request, copy)).catch(() => {}));
    }
    return response;
  } catch (error) {
    const older = await caches.match(request, { ignoreVary: true, ignoreSearch: true });
    if (older) return older;
    throw error;
  }
};

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(event));
  else if (url.pathname.startsWith("/static/") && url.searchParams.has("v")) {
    event.respondWith(file(event));
  }
});
