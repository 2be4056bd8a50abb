// Small comforts. Every page works without this file; nothing is decided here.
"use strict";

// Requests that htmx makes carry the page's CSRF token.
document.addEventListener("htmx:config:request", (event) => {
  const token = document.querySelector('meta[name="csrf-token"]');
  const request = event.detail.ctx.request;
  if (token && !/^(GET|HEAD)$/i.test(request.method)) {
    request.headers["X-CSRFToken"] = token.content;
  }
});

// An answer that is no fragment is not put into the page; say in words what happened instead.
function say(sentence) {
  const line = document.createElement("div");
  line.className = "said error";
  line.setAttribute("role", "alert");
  line.textContent = sentence;
  document.getElementById("said").replaceChildren(line);
}
document.addEventListener("htmx:response:error", (event) => {
  const status = event.detail.ctx.response.status;
  if (status === 403) say("Not done: your role does not include this, or you were signed out.");
  else if (status === 404) say("Not done: this is no longer here, or not open to you.");
  else if (status >= 500) say("Not done: a fault on our side. What you typed is still here.");
});
document.addEventListener("htmx:error", (event) => {
  if (event.detail.ctx) say("No answer from the server. What you typed is still here; try again.");
});

// Ask before a form with unsaved entries is left.
const unsaved = new Set();
// getAttribute, because a field named "method" would hide the form's own property.
const keeps = (form) =>
  /^post$/i.test(form?.getAttribute("method") ?? "") && !form.hasAttribute("data-leave-freely");
document.addEventListener("input", (event) => {
  if (keeps(event.target.form)) unsaved.add(event.target.form);
});
document.addEventListener("submit", (event) => {
  unsaved.delete(event.target);
});
window.addEventListener("beforeunload", (event) => {
  for (const form of unsaved) if (form.isConnected) return event.preventDefault();
});

// At the bench, Enter goes to the next reading and at last to the button, and sends nothing.
document.addEventListener("keydown", (event) => {
  const field = event.target;
  if (event.key !== "Enter" || event.isComposing || !field.matches("[data-reading]")) return;
  event.preventDefault();
  const all = [...field.form.querySelectorAll("[data-reading]:not(:disabled)")];
  const next = all[all.indexOf(field) + (event.shiftKey ? -1 : 1)];
  if (next) {
    next.focus();
    next.select();
  } else if (!event.shiftKey) {
    field.form.querySelector("button[type=submit], button:not([type])")?.focus();
  }
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.hasAttribute("data-print")) window.print();
  if (button.hasAttribute("data-same-temperature")) spreadTemperature(button.form);
});

// The first temperature typed goes into every empty temperature; what was typed is left alone.
function spreadTemperature(form) {
  const all = [...form.querySelectorAll("[data-temperature]:not(:disabled)")];
  const given = all.find((field) => field.value.trim());
  if (!given) {
    all[0]?.focus();
    return;
  }
  for (const field of all) {
    if (field.value.trim()) continue;
    field.value = given.value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }
}

// Buttons that only work with this file are hidden until it runs.
function reveal(root) {
  for (const button of root.querySelectorAll("[data-print], [data-same-temperature]")) {
    button.hidden = false;
  }
  // A form that came back with errors holds entries that are saved nowhere.
  for (const form of root.querySelectorAll("form")) {
    if (keeps(form) && form.querySelector("[aria-invalid=true]")) unsaved.add(form);
  }
}
document.addEventListener("DOMContentLoaded", () => {
  reveal(document);
  document.querySelector(".form-errors")?.focus();
});
document.addEventListener("htmx:after:swap", () => reveal(document));

// The key / leads to the search, unless something is being typed; on its page, into the entry.
document.addEventListener("keydown", (event) => {
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.closest("input, textarea, select, [contenteditable]")) return;
  const entry = document.querySelector("[data-search]");
  const link = document.querySelector('header.top nav a[href$="/search/"]');
  if (!entry && !link) return;
  event.preventDefault();
  if (entry) entry.select();
  else link.click();
});
