// The sampling clock: seconds since foam was noted. The age comes with the page, by the server's
// clock, because the phone's own may be wrong.
"use strict";

const met = new WeakMap();

function tick() {
  for (const place of document.querySelectorAll("[data-age]")) {
    if (!met.has(place)) met.set(place, performance.now() - 1000 * place.dataset.age);
    const gone = Math.floor((performance.now() - met.get(place)) / 1000);
    if (gone < 0 || gone > 5400) {
      place.textContent = "";
      continue;
    }
    const left = Number(place.dataset.settled) - gone;
    const clock = `${Math.floor(gone / 60)}:${String(gone % 60).padStart(2, "0")} ago`;
    place.textContent = left > 0 ? `, ${clock}, first sample in ${left} s` : `, ${clock}`;
  }
}
setInterval(tick, 500);
document.addEventListener("DOMContentLoaded", tick);
