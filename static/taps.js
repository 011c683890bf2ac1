// What a tap needs beyond a plain form: an id of its own, and a word when it did not arrive.
"use strict";

const signal = (words) => {
  const line = document.getElementById("signal");
  if (line) line.textContent = words;
};

// The server wrote one id into each form, so that sending the form twice counts once. With a script each tap is
// one of its own: two quick taps on "Light fell" are two clicks. randomUUID is not there on plain http.
const newId = () => {
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 0x0f) | 0x40;
  b[8] = (b[8] & 0x3f) | 0x80;
  const hex = Array.from(b, (n) => n.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
};

document.addEventListener("htmx:config:request", (event) => {
  const body = event.detail.ctx.request.body;
  if (body instanceof FormData && body.has("event_id")) body.set("event_id", newId());
});
document.addEventListener("htmx:after:swap", () => {
  signal("");
  // A live region must stay in the page to be read out; what was swapped in is new.
  const said = document.getElementById("said");
  const heard = document.getElementById("heard");
  if (said && heard) heard.textContent = said.textContent;
});
document.addEventListener("htmx:error", () => signal("Not kept: the server did not answer. Tap again."));
document.addEventListener("htmx:response:error", (event) => {
  if (event.detail.ctx.response.status !== 422) signal("Not kept: the server refused it. Open the page again.");
});
