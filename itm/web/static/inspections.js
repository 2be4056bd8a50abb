// Helpers for a round: all questions of a task answered "yes" at once, and a word before leaving
// with entries that nobody recorded. The page works the same without this file.
(() => {
  const round = document.querySelector("form.round");
  if (!round) return;
  for (const wants of round.querySelectorAll(".wants")) {
    const yes = wants.querySelectorAll('input[type="radio"][value="yes"]');
    if (yes.length < 2) continue;
    const button = document.createElement("button");
    button.type = "button";
    button.className = "outline fill";
    button.textContent = "All yes";
    button.addEventListener("click", () => yes.forEach((one) => { one.checked = true; }));
    wants.prepend(button);
  }
  let touched = false;
  round.addEventListener("input", () => { touched = true; });
  round.addEventListener("submit", () => { touched = false; });
  window.addEventListener("beforeunload", (event) => { if (touched) event.preventDefault(); });
})();
