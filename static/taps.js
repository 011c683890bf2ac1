// What a tap needs beyond a plain form: its turn, an answer at once, and a word where something is in the way.
"use strict";

let signalled = 0;
const signal = (words) => {
  let line = document.getElementById("signal");
  if (!line && words) {
    line = document.createElement("p");
    line.id = "signal";
    line.setAttribute("role", "alert");
    document.body.append(line);
  }
  if (line) line.textContent = words;
  signalled = performance.now();
};

// Whatever has an id of its own is kept by the outbox, which sends it; the browser and htmx send the rest.
const DRAW_AFTER = 100; // ms; an answer that takes longer is drawn from the pocket meanwhile
const tappedOnce = new Set(); // since the page was last drawn: the same move or undo tapped twice on one drawing is one
let leaving = null; // where to go: {to}, once what is under way was tried; sent: once it was answered

const pathOf = (form) => new URL(form.action).pathname;
const dayOf = (path) => path.match(/^\/days\/\d+/)?.[0] ?? path;

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post" || !form.elements.namedItem("event_id")) return;
  event.preventDefault();
  event.stopPropagation();
  const fields = [...new FormData(form, event.submitter)].filter(([name]) => name !== "event_id");
  if (form.closest("#day")) tap(form, fields);
  else keepAndGo(form, fields, event.submitter);
}, true);

const tap = (form, fields) => {
  const path = pathOf(form);
  const what = `${path}?${new URLSearchParams(fields)}`;
  if (!path.endsWith("/nudges")) {
    if (tappedOnce.has(what)) return;
    tappedOnce.add(what);
  }
  // An undo takes back the tap before it, whose answer need not be here yet.
  const undoes = path.endsWith("/undo") && globalThis.believed?.()?.last;
  if (path.endsWith("/undo")) undone = performance.now();
  const { entry } = outbox.put(dayOf(path), path, undoes ? [["event", undoes]] : fields);
  entry.at = performance.now();
  if (outbox.away) globalThis.drawFromPocket?.(entry);
  else setTimeout(() => { if (outbox.all().includes(entry)) globalThis.drawFromPocket?.(entry); }, DRAW_AFTER);
  outbox.flush();
};

// A form on a page of its own, such as a reading: sent if it can be; if not, it is kept, and the day page goes on.
const keepAndGo = async (form, fields, submitter) => {
  const path = pathOf(form);
  const day = dayOf(path);
  if (submitter) submitter.disabled = true;
  const { entry, storing } = outbox.put(day, path, fields);
  await storing;
  await outbox.flush();
  if (entry.refused) {
    if (submitter) submitter.disabled = false;
    // The server says why beside the field, on a page that has what was typed: asked once more, with the same id.
    await outbox.letGo(entry.id);
    form.elements.namedItem("event_id").value = entry.id;
    form.submit();
    return;
  }
  // Without signal only a page that the phone has kept can be gone to.
  if (outbox.away && !await globalThis.caches?.match(day, { ignoreVary: true }).catch(() => null)) {
    signal(say("Kept on this phone; it is sent when the server answers. Leave this page open until then."));
    leaving = { to: day, sent: true }; // the button stays off: pressed again, it would count twice
    return;
  }
  location.assign(entry.leadsTo ?? day);
};

document.addEventListener("outbox:rest", () => {
  if (!leaving || (leaving.sent && outbox.away)) return;
  location.assign(leaving.to);
  leaving = null;
});
document.addEventListener("outbox:sent", (event) => {
  const { entry, text, status } = event.detail;
  // What was noted is noted; a field keeps what was typed in it through a swap.
  if (entry.url.endsWith("/clips") && status === 200) document.querySelector(".clip form")?.reset();
  const day = document.getElementById("day");
  if (!text || !day || outbox.waiting(entry.day).length) return;
  htmx.swap({
    sourceElement: day, target: day, text, swap: "outerMorph", tap: { moves: entry.url.endsWith("/moves"), at: entry.at ?? 0, said: entry.said },
    request: { action: entry.url }, response: { status }, hx: {},
  });
});
document.addEventListener("htmx:config:request", (event) => {
  event.detail.ctx.request.cache = "no-store"; // what Back fetches would otherwise come from the same cache
});

// A thumb that comes down before the page has stood still this long was aimed at what stood there before: the second
// half of a double tap must not walk on to the next place. The nudges keep their places, and every one counts.
const STILL = 400; // ms
let drawn = -STILL;
let undone = -STILL; // an undo means the last thing done, whenever the page was drawn; two of them in one tap do not
let pressed = 0;
let under = null;
const changed = () => signal(say("Not taken: the page changed just as you tapped. Look, then tap again."));
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
  const undo = event.target.closest("#undo");
  if (byThumb && pressed < (undo ? undone : drawn) + STILL && event.target.closest(".rows, .here-now, #undo")) {
    changed();
  } else if (link && outbox.sending && !outbox.away && !link.hasAttribute("download")) {
    leaving = { to: link.href };
    signal(say("One moment: your last tap is still on its way."));
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
  for (const name of unfolded) document.querySelector(`#day details.${name}`)?.setAttribute("open", "");
  // A page that was only fetched again and says the same moved nothing under a thumb.
  if (tap || rows !== rowsNow()) drawn = performance.now();
  tappedOnce.clear();
  if (!tap || tap.at > signalled) signal("");
  // A live region must stay in the page to be read out; what was swapped in is new.
  const said = document.getElementById("said");
  const heard = document.getElementById("heard");
  // The same words twice are only heard twice if something about them changes. What the pocket said is said.
  if (tap && !tap.said && said && heard) heard.textContent = said.textContent + (heard.textContent === said.textContent ? "\u00a0" : "");
  // Where the shooter stands now, and the next place, are at the top.
  if (tap?.moves) window.scrollTo(0, 0);
  if (focused && focused !== document.body && (!focused.isConnected || focused.disabled)) {
    document.querySelector("#day h1")?.focus();
  }
});

document.addEventListener("htmx:error", (event) => {
  const { request } = event.detail.ctx ?? {};
  if (request?.method === "GET") outbox.goneAway();
  else signal(say("Not kept: the server did not answer. Tap again."));
});
document.addEventListener("htmx:response:error", (event) => {
  if (event.detail.ctx.response.status === 422) return;
  signal(say("Not kept: the server refused it. Open the page again."));
});

// Back brings the page from a cache as it was first drawn, without the taps since. Not a reload: without signal that
// would leave nothing to read.
const fetchAgain = () => {
  // What the page says of another phone's change is not to be drawn over: something is being typed.
  if (!document.getElementById("day") || outbox.waiting().length || document.getElementById("live").textContent) return;
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
