// What was typed and not kept: on this device alone, and no entry yet, so no server takes it. It is
// told wherever it is told what waits.

import { h } from "./dom.js";
import { press } from "./entering.js";
import { labelOf } from "./sides.js";
import { draftWords } from "./tasks.js";
import { instant } from "./words.js";

const KEY = /^[0-9a-f]{8}-[0-9a-f-]{27}$/;
const CALLED = {
  clock: "Stopwatch, running since",
  withdraw: "Why it is withdrawn",
  aside: "Why it is set aside",
  at: "When",
};

// Whose form it stands in, where the day says what that asks.
const VERBS = { begin: "begin_check", check: "note_check", way: "note_check_sample" };

/** What it is and what was typed, for a person to read. */
export function wordsOf(field, { place, visit, value }) {
  if (place.startsWith("inspect:")) return draftWords(field, { place, visit, value });
  const parts = place.split(":");
  const name = parts.filter((part) => !KEY.test(part)).at(-1);
  const label = CALLED[name] ?? labelOf(field, { visit, of: {}, verb: VERBS[parts[0]] }, name);
  const zone = field.days.find(({ key }) => key === visit)?.day.visit.site.time_zone ?? "UTC";
  return `${label}: ${name === "clock" ? instant(value, zone) : value.trim() || "emptied"}`;
}

/** Day by day, with the way to where it is kept or taken off. */
export function typedPart(field) {
  const { typed } = field;
  if (!typed.length) return null;
  const visits = [...new Set(typed.map(({ visit }) => visit))];
  return [
    h("h2", "Typed and not kept"),
    h(
      "p",
      "It is no entry yet, so it is never sent: open it, and press Keep below it. Or take it off.",
    ),
    h(
      "ul.waiting",
      visits.map((visit) =>
        ofDay(
          field,
          visit,
          typed.filter((one) => one.visit === visit),
        ),
      ),
    ),
  ];
}

function ofDay(field, visit, drafts) {
  const day = field.days.find(({ key }) => key === visit)?.day;
  const gone = async () => {
    await field.forgetTyped(drafts);
    field.say("What was typed and not kept there is taken off.");
    await field.draw();
  };
  return h(
    "li",
    { id: `typed-${visit}` },
    day
      ? h("a.big", { href: `#/d/${visit}` }, day.visit.site.name)
      : h("strong", visit ? "A day that is not on this device any more" : "On this page"),
    h(
      "ul",
      drafts.map((one) => h("li", wordsOf(field, one))),
    ),
    h(
      "details",
      { id: `drop-typed-${visit}` },
      h("summary", "Take it off"),
      h("p", "It was never on the server, and it will not be: nobody can bring it back."),
      press("Take it off for good", gone, { kind: ".outline", id: `gone-typed-${visit}` }),
    ),
  );
}
