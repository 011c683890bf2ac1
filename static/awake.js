// The screen stays on while the day page is open, where that is wanted and the browser can. A browser lets go of it
// when the page is hidden, and may refuse (a battery that is low): the button says how it is, not how it was wished.
"use strict";
{
  const WISH = "awake"; // on this phone, from one day to the next
  const button = () => document.getElementById("awake");
  let held = null;

  let wished = false;
  try { wished = localStorage.getItem(WISH) === "1"; } catch { /* a browser that keeps nothing */ }
  const want = (wanted) => {
    wished = wanted;
    try { localStorage.setItem(WISH, String(Number(wanted))); } catch { /* then until the page is left */ }
  };
  const show = () => {
    const its = button();
    if (!its || !navigator.wakeLock) return; // plain http and old browsers have none
    its.hidden = false;
    its.setAttribute("aria-pressed", String(held !== null));
  };
  const hold = async () => {
    if (!wished || held || document.visibilityState !== "visible" || !navigator.wakeLock) return;
    try {
      const lock = await navigator.wakeLock.request("screen");
      if (held || !wished) return lock.release(); // asked for twice, or not wanted any more
      held = lock;
      lock.addEventListener("release", () => {
        if (held === lock) held = null;
        show();
      });
    } catch { /* refused: it stays as it is */ }
    show();
  };

  document.addEventListener("click", (event) => {
    if (!event.target.closest("#awake")) return;
    want(!held);
    if (held) held.release();
    else hold().then(() => { if (!held) signal(say("This phone does not keep its screen on now: its battery may be low.")); });
  });
  document.addEventListener("visibilitychange", hold);
  document.addEventListener("htmx:after:swap", show);
  show();
  hold();
}
