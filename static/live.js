// Another phone's changes: the page is drawn anew, or, where something is being typed in it, says that it is not the
// newest. What comes over the line is a revision and no more, so that a page which slept misses nothing.
"use strict";
{
  const SILENCE = 12000; // ms; the line beats every five seconds
  const SOONEST = 500; // ms, until the line is tried again; longer each time
  const LATEST = 30000; // ms
  const PATIENCE = 5000; // ms
  const line = document.getElementById("live");
  const heard = document.getElementById("heard");
  const shown = () => document.querySelector("[data-changes]");

  const past = new Set(); // revisions that this page has shown: no revision ever comes again
  let newest = null; // the one that was told last
  let fetchedFor = null; // the one that the page was last fetched again for
  let under = 0; // requests that are under way: one may have made the change itself
  let source = null;
  let alive = 0; // when the line last said something; the clock runs on while the phone sleeps
  let tries = 0;
  let again = 0;
  let ended = false;

  const isTyped = (field) => {
    if (field.type === "hidden") return false;
    if (field.type === "checkbox" || field.type === "radio") return field.checked !== field.defaultChecked;
    if (field.options) {
      const first = [...field.options].find((option) => option.defaultSelected) ?? field.options[0];
      return field.value !== (first?.value ?? "");
    }
    return field.value !== field.defaultValue || field === document.activeElement;
  };
  const typing = () => [...document.querySelectorAll("input, textarea, select")].some(isTyped);

  const announce = (words, more) => {
    if (line.textContent === words + (more?.textContent ?? "")) return; // said twice, it would be heard twice
    const told = document.createElement("span");
    told.textContent = words;
    line.replaceChildren(...(words ? [told] : []), ...(more ? [more] : []));
    drawn = performance.now(); // what stood under a thumb stands elsewhere now (taps.js)
  };
  const showIt = document.createElement("button");
  showIt.textContent = say("Show it");
  showIt.addEventListener("click", () => location.reload());
  const leadsTo = (href, words) => {
    const link = document.createElement("a");
    link.href = href;
    link.className = "alone";
    link.textContent = words;
    return link;
  };
  const comeIn = leadsTo("/join", say("Come in again"));
  const others = leadsTo("/", say("All days"));

  const compare = () => {
    const page = shown();
    if (!page || ended || under || outbox.sending || outbox.waiting().length) return;
    past.add(page.dataset.revision);
    if (!newest || past.has(newest)) return announce("");
    const typed = typing();
    if (typed || !("drawn" in page.dataset)) {
      const changed = typed ? say("This has changed on another phone. Showing it loses what is typed here.") : say("This has changed on another phone.");
      return announce(`${changed} `, showIt);
    }
    if (fetchedFor === newest) return;
    fetchedFor = newest;
    announce("");
    if (page.id === "day") fetchAgain();
    else htmx.ajax("GET", location.href, { target: "main", select: "main", swap: "outerMorph" });
  };

  const end = (words, more) => {
    ended = true;
    leave();
    announce(words, more);
  };
  const over = () => {
    end(`${say("This phone was signed out.")} `, comeIn);
    document.dispatchEvent(new CustomEvent("live:over"));
  };
  const gone = () => end(`${say("This day was removed. Nothing is kept on it any more.")} `, others);
  const leave = () => {
    source?.close();
    source = null;
    clearTimeout(again);
  };
  // An EventSource cannot read the answer that refuses it, nor tell it from none.
  const ask = async (page) => {
    if (outbox.away) return;
    try {
      const { status } = await fetch(page.dataset.changes, { signal: AbortSignal.timeout(PATIENCE) });
      if (status === 401) over();
      if (status === 404) gone();
    } catch {
      if (!ended) outbox.goneAway();
    }
  };
  const connect = () => {
    leave();
    const page = shown();
    if (!page || ended || document.visibilityState !== "visible") return;
    alive = Date.now();
    source = new EventSource(page.dataset.changes);
    source.addEventListener("revision", (event) => {
      alive = Date.now();
      tries = 0;
      if (outbox.away) outbox.soon(); // the server is there again
      newest = event.data;
      compare();
    });
    source.addEventListener("beat", () => {
      alive = Date.now();
      compare(); // what was typed may have gone meanwhile
    });
    source.addEventListener("ended", over);
    source.addEventListener("gone", gone);
    source.addEventListener("error", () => {
      leave();
      again = setTimeout(connect, Math.min(LATEST, SOONEST * 2 ** tries) * (0.5 + Math.random()));
      tries += 1;
      ask(page);
    });
  };

  document.addEventListener("focusout", () => setTimeout(compare)); // what was begun may have been given up
  document.addEventListener("htmx:before:request", () => { under += 1; });
  document.addEventListener("htmx:finally:request", () => {
    under -= 1;
    setTimeout(compare); // once every other listener has counted its own
  });
  document.addEventListener("htmx:after:swap", (event) => {
    if (heard && !event.detail.ctx.tap && fetchedFor === newest && !past.has(newest)) {
      heard.textContent = `${say("Changed on another phone.")}${heard.textContent.endsWith(".") ? "\u00a0" : ""}`;
    }
  });
  document.addEventListener("htmx:error", () => { fetchedFor = null; });
  document.addEventListener("outbox:rest", () => setTimeout(compare));

  document.addEventListener("visibilitychange", connect); // hidden, it only leaves: a phone that sleeps hears nothing
  window.addEventListener("pagehide", leave);
  window.addEventListener("pageshow", (event) => { if (event.persisted) connect(); });
  window.addEventListener("offline", () => {
    leave();
    again = setTimeout(connect, LATEST); // a server on this very machine needs no network
  });
  window.addEventListener("online", connect);
  setInterval(() => { if (source && Date.now() - alive > SILENCE) connect(); }, SILENCE / 4);
  connect();
}
