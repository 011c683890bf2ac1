// What a tap needs beyond a plain form: an id of its own, its turn, and a word when it did not arrive.
"use strict";

let signalled = 0;
const signal = (words) => {
  const line = document.getElementById("signal");
  if (line) line.textContent = words;
  signalled = performance.now();
};

// randomUUID is not there on plain http.
const newId = () => {
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 0x0f) | 0x40;
  b[8] = (b[8] & 0x3f) | 0x80;
  const hex = Array.from(b, (n) => n.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
};

// The server counts an id once. Two quick taps on "Light fell" are two clicks, so each has an id of its own; the
// same move or undo tapped twice on one drawing of the page is one. A tap whose answer was lost may have been kept:
// tapped again it has its old id.
const ids = new Map(); // since the page was last drawn: what was tapped, and the ids that it may have again
const idsOf = (what) => ids.get(what) ?? ids.set(what, []).get(what);

let waiting = 0; // taps that are under way or queued
let last = null; // the newest of them
let lost = false; // the answer to one was: drawn anew before it is tapped again, it would then count twice
let leaving = null; // the link to follow once they are answered

document.addEventListener("htmx:config:request", (event) => {
  const { ctx } = event.detail;
  const { action, body } = ctx.request;
  ctx.request.cache = "no-store"; // what Back fetches would otherwise come from the same cache
  if (!(body instanceof FormData) || !body.has("event_id")) return;
  body.delete("event_id");
  // An undo takes back the tap before it, whose answer need not be here yet.
  if (body.has("event") && waiting) body.set("event", last.undoes ?? last.id);
  const what = `${action}?${new URLSearchParams(body)}`;
  const id = idsOf(what).pop() ?? newId();
  const counts = action.endsWith("/nudges"); // what is shared with other places is shared once
  if (!counts) idsOf(what).push(id);
  body.set("event_id", id);
  last = ctx.tap = { what, id, counts, moves: body.has("tap"), undoes: body.get("event"), at: performance.now() };
  waiting += 1;
});
document.addEventListener("htmx:finally:request", (event) => {
  if (event.detail.ctx.tap) waiting -= 1;
  if (waiting || !leaving) return;
  location.assign(leaving);
  leaving = null;
});

// A thumb that comes down before the page has stood still this long was aimed at what stood there before: the second
// half of a double tap must not walk on to the next place. The nudges keep their places, and every one counts.
const STILL = 400; // ms
let drawn = -STILL;
let pressed = 0;
let under = null;
const changed = () => signal("Not taken: the page changed just as you tapped. Look, then tap again.");
document.addEventListener("pointerdown", (event) => {
  pressed = performance.now();
  under = event.target;
}, true);
document.addEventListener("pointerup", () => {
  if (under?.isConnected === false) changed(); // what was pressed has gone: no click will come of it
  under = null;
}, true);
document.addEventListener("click", (event) => {
  const byThumb = event.detail > 0; // a key's click has 0
  const link = event.target.closest("a[href]");
  if (byThumb && pressed < drawn + STILL && event.target.closest(".rows, .here-now, #undo")) {
    changed();
  } else if (link && waiting) {
    leaving = link.href;
    signal("One moment: your last tap is still on its way.");
  } else return;
  event.preventDefault();
  event.stopPropagation();
}, true);

let focused = null;
let rows = "";
const rowsNow = () => document.querySelector(".rows")?.textContent ?? "";
let unfolded = []; // what stands open while something else is done; a fold's own tap closes it
document.addEventListener("htmx:before:swap", (event) => {
  focused = document.activeElement;
  rows = rowsNow();
  const tapped = event.detail.ctx.tap && event.detail.ctx.request.action;
  unfolded = [...document.querySelectorAll("#day details[open]")]
    .filter((fold) => !tapped || fold.querySelector("form")?.getAttribute("action") !== tapped)
    .map((fold) => fold.className);
});
document.addEventListener("htmx:after:swap", (event) => {
  const { tap } = event.detail.ctx;
  fetched = performance.now();
  // What was noted is noted; a field keeps what was typed in it through a swap.
  if (tap && event.detail.ctx.request.action.endsWith("/clips") && event.detail.ctx.response.status === 200) {
    document.querySelector(".clip form")?.reset();
  }
  for (const name of unfolded) document.querySelector(`#day details.${name}`)?.setAttribute("open", "");
  // A page that was only fetched again and says the same moved nothing under a thumb.
  if (tap || rows !== rowsNow()) drawn = performance.now();
  ids.clear();
  lost = false;
  if (!tap || tap.at > signalled) signal("");
  // A live region must stay in the page to be read out; what was swapped in is new.
  const said = document.getElementById("said");
  const heard = document.getElementById("heard");
  // The same words twice are only heard twice if something about them changes.
  if (tap && said && heard) heard.textContent = said.textContent + (heard.textContent === said.textContent ? "\u00a0" : "");
  // Where the shooter stands now, and the next place, are at the top.
  if (tap?.moves) window.scrollTo(0, 0);
  if (focused && focused !== document.body && (!focused.isConnected || focused.disabled)) {
    document.querySelector("#day h1")?.focus();
  }
});

document.addEventListener("htmx:error", (event) => {
  const { tap, request } = event.detail.ctx ?? {};
  if (tap?.counts) idsOf(tap.what).push(tap.id);
  if (tap) lost = true;
  leaving = null;
  if (request?.method === "GET") signal("These answers may be old: the server did not answer.");
  else signal("Not kept: the server did not answer. Tap again.");
});
document.addEventListener("htmx:response:error", (event) => {
  if (event.detail.ctx.response.status === 422) return;
  leaving = null;
  signal("Not kept: the server refused it. Open the page again.");
});

// Back brings the page from a cache as it was first drawn, without the taps since. Not a reload: without signal that
// would leave nothing to read.
const fetchAgain = () => {
  // What the page says of another phone's change is not to be drawn over: something is being typed.
  if (!document.getElementById("day") || waiting || document.getElementById("live").textContent) return;
  htmx.ajax("GET", location.pathname, { target: "#day", select: "#day", swap: "outerMorph" });
};
window.addEventListener("pageshow", (event) => {
  const back = event.persisted || performance.getEntriesByType("navigation")[0]?.type === "back_forward";
  if (back) fetchAgain();
});

// Light moves while nobody taps: a page that stays open is fetched again each minute, and when the phone wakes.
const MINUTE = 60000; // ms
let fetched = performance.now();
const stale = () => document.visibilityState === "visible" && performance.now() - fetched >= MINUTE - 1000;
document.addEventListener("visibilitychange", () => { if (stale()) fetchAgain(); });
setInterval(() => { if (stale()) fetchAgain(); }, MINUTE);
