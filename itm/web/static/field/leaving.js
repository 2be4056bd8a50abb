// On every page of a signed-in person: whose device this is now, and a word before signing out with
// entries that no server has. What waits stays on the device; what does not wait is cleared away.

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
  const nothing = { entries: 0, typed: 0 }; // a browser that keeps nothing holds nothing back
  const waiting = await unsent().catch(() => nothing);
  if (!waiting.entries && !waiting.typed) return out(true);
  return warn(waiting);
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
  if (clear)
    await Promise.race([
      forget(here.content).catch(() => {}),
      new Promise((done) => setTimeout(done, 1000)),
    ]);
  form.submit();
}

function warn({ entries, typed }) {
  const line = document.createElement("div");
  line.className = "said error";
  line.setAttribute("role", "alert");
  const text = document.createElement("p");
  const held = [
    entries && `${count(entries, "entry", "entries")} of field capture`,
    typed && `${count(typed, "text")} typed and not kept`,
  ];
  text.textContent = `${inOneLine(held.filter(Boolean))} ${entries + typed === 1 ? "is" : "are"} only on this device. Send first, and keep what you typed; signed out they stay here, unsent, until you sign in on this device again.`;
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
