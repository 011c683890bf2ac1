// What was done is kept on the phone before it is sent, and sent in order, once each, as often as it takes: a phone may
// be without a signal, or put away, before the server has answered.
"use strict";
{
  const SOONEST = 1000; // ms, until it is tried again; longer each time
  const LATEST = 30000; // ms
  const PATIENCE = 8000; // ms
  const PHOTO_PATIENCE = 60000; // ms
  const RESTING = new Set([408, 425, 429]); // refusals that only want it sent later
  // randomUUID is not there on plain http.
  const newId = () => {
    const b = crypto.getRandomValues(new Uint8Array(16));
    b[6] = (b[6] & 0x0f) | 0x40;
    b[8] = (b[8] & 0x3f) | 0x80;
    const hex = Array.from(b, (n) => n.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  };
  const who = () => document.body.dataset.who ?? "";

  // Without a place to keep things (a private window, a phone that is full) all goes on, for as long as the page is open.
  const asked = (request) => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  const opening = new Promise((resolve) => {
    try {
      const request = indexedDB.open("lychgate", 1);
      request.onupgradeneeded = () => {
        request.result.createObjectStore("outbox", { keyPath: "id" });
        request.result.createObjectStore("kept");
      };
      request.onsuccess = () => resolve(request.result);
      request.onerror = request.onblocked = () => resolve(null);
    } catch { resolve(null); }
  });
  const within = async (store, mode, act) => {
    const db = await opening;
    if (!db) throw new Error("nothing is kept here");
    const transaction = db.transaction(store, mode, { durability: "strict" }); // on the disk: phones run out of power
    const done = new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onabort = transaction.onerror = () => reject(transaction.error);
    });
    const result = await asked(act(transaction.objectStore(store)));
    await done;
    return result;
  };

  const cupboard = {
    get: (key) => within("kept", "readonly", (store) => store.get(key)).catch(() => undefined),
    put: (key, value) => within("kept", "readwrite", (store) => store.put(value, key)).then(() => true, () => false),
    clear: () => within("kept", "readwrite", (store) => store.clear()).catch(() => {}),
  };

  const entries = []; // in the order in which they were made
  const outbox = {
    away: false, // whether the server did not answer last
    out: false, // whether it does not let this phone in any more
    full: false, // whether the phone could not keep the last one
    sending: null,
  };
  const tell = (what, detail = {}) => document.dispatchEvent(new CustomEvent(`outbox:${what}`, { detail }));
  const inOrder = (one, other) => one.made - other.made;
  const own = () => entries.filter((entry) => entry.who === who());

  outbox.all = own;
  outbox.kindOf = (entry) => entry.url.match(/[a-z-]+$/)[0]; // "moves", "sky-nudges", "readings"
  outbox.goneAway = () => {
    outbox.away = true;
    tell("away");
  };
  outbox.waiting = (day) => own().filter((entry) => !entry.refused && (!day || entry.day === day));
  outbox.refused = () => own().filter((entry) => entry.refused);

  // Other pages of this phone keep theirs here too.
  const lookUp = async () => {
    const known = await within("outbox", "readonly", (store) => store.getAll()).catch(() => null);
    if (!known) return;
    const ids = new Set(known.map((entry) => entry.id));
    for (let at = entries.length - 1; at >= 0; at -= 1) {
      if (entries[at].stored && !ids.has(entries[at].id)) entries.splice(at, 1); // another page has sent it
    }
    const mine = new Set(entries.map((entry) => entry.id));
    entries.push(...known.filter((entry) => !mine.has(entry.id)).map((entry) => ({ ...entry, stored: true })));
    entries.sort(inOrder);
  };
  const store = async (entry) => {
    const { stored, ...its } = entry;
    try {
      await within("outbox", "readwrite", (place) => place.put(its));
      entry.stored = true;
      outbox.full = false;
    } catch {
      outbox.full = true;
    }
    tell("changed");
  };
  const drop = async (entry) => {
    const at = entries.indexOf(entry);
    if (at >= 0) entries.splice(at, 1);
    await within("outbox", "readwrite", (place) => place.delete(entry.id)).catch(() => {});
  };
  outbox.letGo = async (id) => {
    const entry = entries.find((each) => each.id === id);
    if (entry) await drop(entry);
    tell("changed");
  };

  const lastOf = new Map(); // what this page did last on each day
  // day: its path. fields: of the form, but for the event's id and times. Gives the entry, and a promise of its keeping.
  outbox.put = (day, url, fields) => {
    const newest = entries.at(-1)?.made ?? 0;
    const after = outbox.waiting(day).at(-1)?.id ?? lastOf.get(day);
    const entry = { id: newId(), who: who(), day, url, fields, made: Math.max(Date.now(), newest + 1), after, tries: 0 };
    entries.push(entry);
    lastOf.set(day, entry.id);
    const storing = store(entry);
    tell("changed");
    return { entry, storing };
  };

  const bodyOf = (entry) => {
    const said = [...entry.fields, ["event_id", entry.id], ["made_at", entry.made], ["sent_at", Math.max(Date.now(), entry.made)]];
    if (entry.after) said.push(["after", entry.after]);
    const body = outbox.kindOf(entry) === "photo" ? new FormData() : new URLSearchParams();
    for (const [name, value] of said) body.append(name, value);
    return body;
  };
  const wordsOf = (html) => {
    const page = new DOMParser().parseFromString(html, "text/html");
    const said = [...page.querySelectorAll(".error")].map((each) => each.textContent.trim());
    return [...new Set(said)].join(" ") || page.querySelector("h1")?.textContent || say("The server refused it.");
  };

  const FROM_A_PAGE_OF_ITS_OWN = new Set(["rig", "readings", "photo"]); // which needs no day page for an answer
  // Sends one. Gives whether to go on with the next.
  const send = async (entry) => {
    const newest = outbox.waiting(entry.day).at(-1) === entry;
    const drawn = newest && document.getElementById("day")?.dataset.day === entry.day && !FROM_A_PAGE_OF_ITS_OWN.has(outbox.kindOf(entry));
    const first = entry.tries === 0;
    entry.tries += 1;
    const patience = outbox.kindOf(entry) === "photo" ? PHOTO_PATIENCE : PATIENCE;
    let response;
    let text;
    try {
      const headers = drawn ? { "hx-request": "true" } : { prefer: "return=minimal" };
      response = await fetch(entry.url, {
        method: "POST", body: bodyOf(entry), headers, cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(patience),
      });
      text = await response.text();
    } catch {
      outbox.goneAway();
      return false;
    }
    const { status } = response;
    if (status >= 500 || RESTING.has(status)) {
      outbox.goneAway();
      return false;
    }
    if (status === 401) {
      outbox.out = true;
      outbox.away = false;
      tell("out");
      return false;
    }
    const came = outbox.away;
    outbox.away = outbox.out = false;
    tries = 0;
    if (response.ok || response.type === "opaqueredirect") {
      entry.leadsTo = response.headers.get("content-location");
      await drop(entry);
      tell("sent", { entry, text: drawn ? text : "", status });
    } else if (first && !came && drawn && status === 422) {
      await drop(entry); // whoever tapped looks at the page that says why
      tell("sent", { entry, text, status });
    } else {
      entry.refused = wordsOf(text);
      await store(entry);
    }
    tell("changed");
    return true;
  };

  let tries = 0;
  let again = 0;
  const later = () => {
    clearTimeout(again);
    if (outbox.out || !outbox.waiting().length) return;
    again = setTimeout(outbox.flush, Math.min(LATEST, SOONEST * 2 ** tries) * (0.5 + Math.random()));
    tries += 1;
  };
  const sendAll = async () => {
    await lookUp();
    for (let entry = outbox.waiting()[0]; entry; entry = outbox.waiting()[0]) {
      if (!await send(entry)) return later();
    }
  };
  outbox.flush = () => {
    if (outbox.sending || !who()) return outbox.sending;
    clearTimeout(again);
    // One page of a phone at a time. Plain http has no locks: there the ids see to it that each counts once.
    const run = navigator.locks ? () => navigator.locks.request("outbox", sendAll) : sendAll;
    outbox.sending = run().finally(() => {
      outbox.sending = null;
      tell("rest");
    });
    return outbox.sending;
  };
  outbox.soon = () => {
    tries = 0;
    outbox.out = false;
    outbox.flush();
  };

  outbox.ready = lookUp().then(() => tell("changed"));
  outbox.ready.then(outbox.flush);
  window.addEventListener("online", outbox.soon);
  window.addEventListener("pageshow", (event) => { if (event.persisted) outbox.soon(); });
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") outbox.soon(); });

  Object.assign(globalThis, { outbox, cupboard });
}
