// The days of this person: what is on this device, and what the server has to take along.

import { h, empty, notice } from "./dom.js";
import { testsOf } from "./day.js";
import { press } from "./entering.js";
import { count, day, inOneLine, instant } from "./words.js";
import { taken } from "./off.js";
import { isRound, tasksOf } from "./tasks.js";
import * as sync from "./sync.js";
import { whyNotKept } from "./store.js";

const PAST = "back in service";

export function daysScreen(field) {
  const held = new Map(field.days.map((one) => [one.key, one]));
  const offered = (field.listed ?? []).filter((one) => !held.has(one.key));
  const open = offered.filter((one) => one.standing !== PAST);
  const past = offered.filter((one) => one.standing === PAST);
  return [
    h("h1", "Field capture"),
    h(
      "p.lead",
      `${field.person.name}. Take a day along while there is signal; the whole day then works without.`,
    ),
    h("h2", "On this device"),
    held.size
      ? h(
          "ul.things.days",
          field.days.map((one) => heldDay(field, one)),
        )
      : empty(
          field.listed
            ? "No day is on this device yet: take one along below."
            : "No day is on this device. The list of days needs signal once.",
        ),
    h("h2", "On the server"),
    field.listed === null
      ? h("p", "The list comes with the next signal.")
      : [
          open.length
            ? h(
                "ul.things.days",
                open.map((one) => offeredDay(field, one)),
              )
            : h("p", "Nothing else of yours is open."),
          past.length
            ? h(
                "details",
                { id: "past" },
                h("summary", `${count(past.length, "visit")} back in service`),
                h(
                  "ul.things.days",
                  past.map((one) => offeredDay(field, one)),
                ),
              )
            : null,
        ],
    field.lasting === false
      ? notice(
          "This browser may clear what it keeps when the device runs low, or after a week without a visit. Put this page on the home screen, and send what waits the same day.",
          "warning",
        )
      : null,
    field.others.length
      ? notice(
          `${field.others.map((one) => `${count(one.count, "entry", "entries")} of ${one.name}`).join(", ")} also wait on this device; they are sent when that person signs in here.`,
        )
      : null,
  ];
}

function heldDay(field, { key, day: own, loaded_at: at }) {
  const waiting =
    field.entries.filter((one) => one.visit === key && one.state !== "taken").length +
    field.papers.filter((one) => one.visit === key && one.state !== "taken").length +
    field.photos.filter((one) => one.visit === key && one.state !== "taken").length;
  const typed = field.typed.filter((one) => one.visit === key).length;
  const only = [
    waiting && `${waiting} only here`,
    typed && `${count(typed, "text")} typed and not kept`,
  ];
  return h(
    "li",
    h(
      "div",
      h("a.big", { href: `#/d/${key}` }, own.visit.site.name),
      h("br"),
      h("small", own.visit.site.owner),
    ),
    h(
      "div",
      day(own.visit.planned_on),
      h("br"),
      h(
        "small",
        `${whatOf(own)}, as it was at ${instant(at, own.visit.site.time_zone)}`,
      ),
    ),
    h(
      "div",
      waiting || typed
        ? h("a.waits", { href: "#/waiting" }, h("strong", inOneLine(only.filter(Boolean))))
        : press("Take off this device", () => takeOff(field, key), {
            kind: ".quiet",
            id: `off-${key}`,
          }),
    ),
  );
}

const whatOf = (own) =>
  isRound(own) ? count(tasksOf(own).length, "task") : count(testsOf(own).length, "test");

function offeredDay(field, one) {
  return h(
    "li",
    h("div", h("strong", one.site), h("br"), h("small", one.owner)),
    h(
      "div",
      day(one.planned_on),
      h("br"),
      h(
        "small",
        isRound(one)
          ? `Round of your own, ${count(one.tasks, "task")} to do`
          : `${one.standing}, ${count(one.tests, "test")}`,
      ),
    ),
    h(
      "div",
      press("Take along", () => takeAlong(field, one.key), { id: `take-${one.key}` }),
    ),
  );
}

export async function takeAlong(field, key) {
  try {
    await sync.renew(field.store, key);
  } catch (error) {
    field.say(error instanceof sync.Stopped ? error.message : whyNotKept(error), "error");
    return;
  }
  field.say("The day is on this device now: it opens without signal.");
  await field.draw();
}

async function takeOff(field, key) {
  await field.store.forgetDay(key);
  taken(field.person.key, [key]);
  field.handing.now(); // out of reach it is told later; the day is gone from here all the same
  field.say("Taken off this device; it is on the server as before.");
  await field.draw();
}
