// Tells the server that a day is no longer on this device under the name of a person, so that nobody
// waits for it before a hand-in. What could not be told goes with the next round of that person.

import { poster } from "./asking.js";
import { deviceHere } from "./store.js";

const UNTOLD = "itm-field-off-"; // and the person: the days, by key

function untold(person) {
  try {
    return JSON.parse(localStorage.getItem(UNTOLD + person) || "[]");
  } catch {
    return [];
  }
}

function keep(person, visits) {
  if (visits.length) localStorage.setItem(UNTOLD + person, JSON.stringify(visits));
  else localStorage.removeItem(UNTOLD + person);
}

/** These days are about to go from here. */
export function taken(person, visits) {
  keep(person, [...new Set([...untold(person), ...visits])]);
}

/** It is on this device after all, or the server knows. */
export function settled(person, visit) {
  keep(
    person,
    untold(person).filter((one) => one !== visit),
  );
}

/** All that is not told yet, in the session of that person. Throws Stopped where one was not heard;
 * the others are told all the same. */
export async function tellOff(person, csrf) {
  const post = poster(csrf);
  const said = new URLSearchParams({ device: deviceHere() });
  const tell = async (visit) => {
    await post.text(`/field/days/${visit}/off/`, said, "application/x-www-form-urlencoded");
    settled(person, visit); // also where the visit is not found any more
  };
  const heard = await Promise.allSettled(untold(person).map(tell));
  const failed = heard.find(({ status }) => status === "rejected");
  if (failed) throw failed.reason;
}
