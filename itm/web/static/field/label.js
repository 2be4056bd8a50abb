// The code on a bottle's label: to the row of that bottle, with signal or without. What is not on
// this device is looked up on the server.

import { h, empty } from "./dom.js";
import { press } from "./entering.js";
import { who } from "./sync.js";

/** Test and label of the address. */
export const soughtOf = ([, test = "", label = ""]) => [test, decodeURIComponent(label)];

/** Follow `#/b/TEST/LABEL`. True where another screen or page comes; else this one says why not. */
export async function openLabel(field, test, label) {
  const days = (await field.store?.days()) ?? [];
  const held = days.find(({ day }) => day.tests.some(({ key }) => key === test));
  if (held) {
    field.sought = label;
    location.replace(`#/d/${held.key}/bench/${test}`);
    return true;
  }
  if (!(await answers())) return false;
  location.replace(`/tests/${encodeURIComponent(test)}/bottles/${encodeURIComponent(label)}/`);
  return true;
}

/** Whether the server is there: it asks by itself who is signed in. */
async function answers() {
  try {
    await who();
  } catch (stopped) {
    return stopped.kind === "signed_out";
  }
  return true;
}

/** Once the bench is drawn: to the row, or a word on why there is none. */
export function seekLabel(field) {
  const label = field.sought;
  if (label === undefined) return;
  field.sought = undefined;
  const rows = [...document.querySelectorAll("section.bottle")];
  const row = rows.find((one) => one.getAttribute("aria-label") === label);
  if (!row) {
    field.say(
      `No bottle “${label}” stands on this bench yet: a sample comes with its stamp at the discharge.`,
      "info",
    );
    return;
  }
  row.scrollIntoView();
  row.querySelector("input")?.focus({ preventScroll: true });
}

export function noLabel(field, label) {
  return [
    h("h1", "Not on this device"),
    empty(
      `Bottle “${label}” belongs to a day that is not on this device, and the server does not answer.`,
      press("Try again", () => field.draw(), { id: "again" }),
    ),
    h("p.do", h("a", { href: "#/" }, "To the days")),
  ];
}
