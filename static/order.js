// A stop of the running order is dragged to another one's time. The server moves it, as it does for the buttons.
"use strict";

let held = null; // the line that is dragged
let over = null; // the line it would take the time of

const linesOf = () => [...document.querySelectorAll(".order > li:not(.spare)")];
const nearest = (y) => linesOf().reduce((best, line) => {
  const box = line.getBoundingClientRect();
  const far = Math.abs((box.top + box.bottom) / 2 - y);
  return !best || far < best.far ? { line, far } : best;
}, null)?.line;

document.addEventListener("pointerdown", (event) => {
  const grip = event.target.closest(".grip");
  if (!grip || event.button) return;
  held = grip.closest("li");
  over = held;
  held.classList.add("held");
  event.preventDefault(); // no text is marked on the way
});
document.addEventListener("pointermove", (event) => {
  if (!held) return;
  over?.classList.remove("over");
  over = nearest(event.clientY);
  if (over !== held) over.classList.add("over");
});
const letGo = (drops) => {
  if (!held) return;
  const lines = linesOf();
  const [from, to] = [lines.indexOf(held), lines.indexOf(over)];
  held.classList.remove("held");
  over?.classList.remove("over");
  held = over = null;
  if (!drops || from === to || to < 0) return;
  const all = [...document.querySelectorAll(".order > li")];
  const button = document.querySelector('#order button[value="more"]');
  const drop = button.cloneNode(true);
  drop.value = `drop:${all.indexOf(lines[from])}:${all.indexOf(lines[to])}`;
  drop.hidden = true;
  button.after(drop);
  htmx.process(drop);
  drop.click();
};
document.addEventListener("pointerup", () => letGo(true));
document.addEventListener("pointercancel", () => letGo(false));
document.addEventListener("keydown", (event) => { if (event.key === "Escape") letGo(false); });
