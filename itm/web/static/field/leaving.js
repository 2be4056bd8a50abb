// On every page of a signed-in person: whose device this is now, and a word before signing out with
// entries that no server has. What waits stays on the device; what does not wait is cleared away.

import { taken, tellOff } from "./off.js";
import { forget, openStore, settle } from "./store.js";
import { count, inOneLine } from "./words.js";

const here = document.querySelector('meta[name="person"]');
const form = document.querySelector("form[data-sign-out]");

if (here) settle({ key: here.content, name: here.dataset.name });

if (here && form) form.addEventListener("submit", leave);

let sure = false;

async function leave(event) {
  if (sure) return;
  event.preventDefault();
  if (!window.indexedDB) return out(false); // a browser that keeps nothing holds nothing back
  const waiting = await unsent().catch(() => again());
  if (!waiting) return warn(UNKNOWN);
  if (!waiting.entries && !waiting.typed) return out(true);
  return warn(onlyHere(waiting));
}

const UNKNOWN =
  "This device could not be asked whether anything is only on it. Look at what waits first; signed out, whatever is here stays here, unsent, until you sign in on this device again.";

/** A look that fails says nothing of what waits. Some browsers lose their database for a moment. */
async function again() {
  await new Promise((done) => setTimeout(done, 300));
  return unsent().catch(() => null);
}

async function unsent() {
  const store = await openStore(here.content);
  const waiting = await store.unsent();
  store.close();
  return waiting;
}

async function out(clear) {
  sure = true;
  localStorage.removeItem("itm-field-who");
  if (clear) {
    await within(2000, tellAllOff()); // a few posts, own choice
    await within(1000, forget(here.content));
  }
  form.submit();
}

/** Nobody is kept from leaving by what fails or hangs. */
const within = (span, work) =>
  Promise.race([work.catch(() => {}), new Promise((done) => setTimeout(done, span))]);

/** The days go with the person, so nobody has to wait for what this device holds of them. */
async function tellAllOff() {
  const store = await openStore(here.content);
  const days = await store.days();
  store.close();
  taken(
    here.content,
    days.map(({ key }) => key),
  );
  await tellOff(here.content, form.elements.csrfmiddlewaretoken.value);
}

function onlyHere({ entries, typed }) {
  const held = [
    entries && `${count(entries, "entry", "entries")} of field capture`,
    typed && `${count(typed, "text")} typed and not kept`,
  ];
  return `${inOneLine(held.filter(Boolean))} ${entries + typed === 1 ? "is" : "are"} only on this device. Send first, and keep what you typed; signed out they stay here, unsent, until you sign in on this device again.`;
}

function warn(words) {
  const line = document.createElement("div");
  line.className = "said error";
  line.setAttribute("role", "alert");
  const text = document.createElement("p");
  text.textContent = words;
  const send = document.createElement("a");
  send.setAttribute("role", "button");
  send.href = "/field/#/waiting";
  send.textContent = "Look at what waits";
  const go = document.createElement("button");
  go.type = "button";
  go.className = "outline";
  go.textContent = "Sign out all the same";
  go.addEventListener("click", () => out(false));
  line.append(text, send, go);
  document.getElementById("said").replaceChildren(line);
  send.focus();
}
