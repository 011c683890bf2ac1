// Lychgate on the phone: the service worker, what it keeps of the day ahead of time, and a word where a page is a copy.
"use strict";
{
  const AHEAD_AGAIN = 30 * 60000; // ms, after which the pages of a day are fetched anew
  const { documentElement: root, body } = document;
  const when = (iso) => `${new Date(iso).toLocaleDateString(root.lang === "en" ? "en-GB" : root.lang, { weekday: "short" })} ${clockOf(new Date(iso))}`;

  // A copy of a page, where nothing draws it anew by itself (the day page does, away.js).
  if ("kept" in root.dataset && !document.getElementById("day")) {
    const line = document.createElement("p");
    line.className = "notice";
    line.setAttribute("role", "status");
    line.textContent = say("No answer from the server. This page is from the phone, as of {time}.", { time: when(root.dataset.kept) });
    document.querySelector("main")?.prepend(line);
  }

  const kept = async () => globalThis.caches?.open("pages").catch(() => null);
  const empty = () => Promise.all([cupboard.clear(), globalThis.caches?.delete("pages")]).catch(() => {});

  // Another person on this phone sees nothing of the one before; what that one did waits for them.
  const WHO = "who";
  const changedHands = () => {
    const { who } = body.dataset;
    if (!who) return Promise.resolve();
    let before = who;
    try {
      before = localStorage.getItem(WHO) ?? who;
      localStorage.setItem(WHO, who);
    } catch { /* a browser that keeps nothing */ }
    return before === who ? Promise.resolve() : empty();
  };

  const registered = (async () => {
    await changedHands();
    if (!navigator.serviceWorker || !body.dataset.who) return null;
    try {
      await navigator.serviceWorker.register("/sw.js");
      return await navigator.serviceWorker.ready;
    } catch {
      return null; // as without one
    }
  })();

  // All that may be asked of the day where there is no signal, one page after another.
  let going = false;
  const fetchAhead = async (addresses) => {
    const worker = await registered;
    const pages = worker && await kept();
    if (!pages || going) return;
    going = true;
    try {
      for (const address of addresses) {
        const known = await pages.match(address, { ignoreVary: true });
        if (known && Date.now() - Date.parse(known.headers.get("x-kept-at")) < AHEAD_AGAIN) continue;
        const response = await fetch(address, { headers: { accept: "text/html" }, signal: AbortSignal.timeout(20000) });
        if (!response.ok || response.redirected || outbox.waiting().length) continue;
        const headers = new Headers(response.headers);
        headers.set("x-kept-at", new Date().toISOString());
        await pages.put(address, new Response(await response.blob(), { headers }));
      }
    } catch { /* no signal, or no room: what is kept is kept */ }
    going = false;
  };
  globalThis.fetchAhead = fetchAhead;

  // Somebody who was let go, or whose phone was ended, opens nothing here any more; what they tapped waits for them.
  document.addEventListener("outbox:out", empty);
  document.addEventListener("live:over", empty);

  // Without a worker (plain http, an old browser) nothing opens once the page is closed.
  const without = () => {
    const line = document.getElementById("no-worker");
    if (line) line.hidden = Boolean(navigator.serviceWorker);
  };
  without();
  document.addEventListener("htmx:after:swap", without);

  // On its own page: what this browser keeps.
  const tell = async (list) => {
    const pages = await kept().then((its) => its?.keys()) ?? [];
    const days = pages.filter((key) => /^\/days\/\d+$/.test(new URL(key.url).pathname));
    const persists = await navigator.storage?.persisted?.();
    const waiting = outbox.all();
    const lines = [
      navigator.serviceWorker ? say("Opens without a signal: {days}, {pages} in all.", {
        days: sayMany("{count} day", "{count} days", days.length), pages: sayMany("{count} page", "{count} pages", pages.length),
      }) : say("Opens nothing without a signal. Over plain http, or without service workers, no page is kept."),
      waiting.length ? sayMany("{count} tap not sent yet.", "{count} taps not sent yet.", waiting.length) : say("All that was tapped here is sent."),
      persists ? say("The browser has said that it clears nothing by itself.") : say("The browser may clear it when the phone is short of room."),
    ];
    list.replaceChildren(...lines.map((words) => Object.assign(document.createElement("li"), { textContent: words })));
    const keep = document.getElementById("phone-keep");
    keep.hidden = Boolean(persists) || !navigator.storage?.persist;
    keep.onclick = async () => {
      const granted = await navigator.storage.persist();
      if (!granted) signal(say("The browser does not promise it. Installed on the home screen, it does more often."));
      tell(list);
    };
  };
  const says = document.getElementById("phone-says");
  if (says) outbox.ready.then(() => tell(says));
  document.addEventListener("outbox:changed", () => { if (says) tell(says); });

  // Whoever leaves takes along what is not sent yet, or waits.
  let warned = false;
  document.addEventListener("submit", (event) => {
    if (!event.target.action?.endsWith("/leave")) return;
    const { length } = outbox.waiting();
    if (length && !warned) {
      warned = true;
      event.preventDefault();
      signal(sayMany("{count} tap is not sent yet, and lost if you leave now. Leave again to lose them.", "{count} taps are not sent yet, and lost if you leave now. Leave again to lose them.", length));
      return;
    }
    empty();
  });

  // A newer server: its pages come with newer scripts. Nothing reloads by itself during a shoot.
  const { version } = body.dataset;
  document.addEventListener("htmx:after:swap", () => {
    const now = document.getElementById("day")?.dataset.version;
    if (!now || !version || now === version || document.getElementById("newer")) return;
    const line = document.createElement("p");
    line.id = "newer";
    line.className = "notice";
    line.setAttribute("role", "status");
    line.textContent = `${say("A newer version of Lychgate is ready. What is here works on.")} `;
    const reload = document.createElement("button");
    reload.type = "button";
    reload.textContent = say("Reload");
    reload.addEventListener("click", () => location.reload());
    line.append(reload);
    (document.getElementById("away") ?? document.querySelector("main")).before(line);
  });
}
