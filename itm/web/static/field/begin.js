// A concentrate check begun where the tank stands, and what is said of it and of its bottles' way to a
// laboratory. What each is asked comes with the day (itm/doors/day_checks.py).

import { h, caution, notice } from "./dom.js";
import { tanksOf, textsOf } from "./checking.js";
import { askedEntry, changes, press, valueOf } from "./entering.js";
import { forEntry } from "./words.js";

const listed = (put) =>
  "programmes" in put ? { ...put, programmes: put.programmes.split("\n").filter(Boolean) } : put;

/** Every tank of the site; beginning one fixes what its values are held against. */
export function beginning(field) {
  const { view } = field;
  if (!view.checking)
    return notice("This copy of the day is older than this page: begin a check after the next signal.");
  if (!view.checking.may || !tanksOf(view).length) return null;
  return tanksOf(view).map((tank) => beginAt(field, tank));
}

function beginAt(field, tank) {
  const { view } = field;
  const asked = view.checking.begin_check;
  const at = (name) => `begin:${view.visit.key}:${tank.key}:${name}`;
  const begin = () => {
    const put = { checked_on: forEntry(new Date(), field.zone).slice(0, 10) };
    for (const { name } of asked) {
      const text = valueOf(field, at(name), tank.usual[name] ?? "").trim();
      if (text) put[name] = text; // left empty it is what is usual
    }
    return field.act("begin_check", { tank: tank.key }, listed(put), {
      words: `Check of ${tank.tag} begun`,
      places: asked.map(({ name }) => at(name)),
    });
  };
  return h(
    "details",
    { id: `begin-${tank.key}` },
    h("summary", `Begin a check of ${tank.tag}`),
    caution(view.cautions.tank),
    h(
      "p",
      "What its values are held against is fixed with the day of its bottles; it is shown here once the server has it.",
    ),
    h(
      "div.form-narrow",
      asked.map((one) => askedEntry(field, at(one.name), one, tank.usual[one.name])),
      h("div.do", press("Begin the check", begin, { id: `begin-check-${tank.key}` })),
    ),
  );
}

/** What it is held against is open until the first value. */
export function notingCheck(field, check) {
  const { view } = field;
  if (!view.checking) return null;
  const fixed = check.samples.some((sample) => sample.values.length);
  const always = ["purpose", "circulated", "notes"];
  const asked = view.checking.note_check.filter(({ name }) => !fixed || always.includes(name));
  return changing(field, {
    id: `check-${check.key}`,
    title: "What is known of the check",
    verb: "note_check",
    of: { check: check.key },
    row: textsOf(check),
    asked,
    words: `Facts of the check of ${check.tank}`,
  });
}

export function onItsWay(field, sample) {
  const asked = field.view.checking?.note_check_sample;
  if (!asked) return null;
  return changing(field, {
    id: `way-${sample.key}`,
    title: "Its way to the laboratory",
    verb: "note_check_sample",
    of: { sample: sample.key },
    row: sample,
    asked,
    words: `Way of ${sample.label}`,
  });
}

function changing(field, { id, title, verb, of, row, asked, words }) {
  const names = asked.map(({ name }) => name);
  const keep = () => {
    const { put, opened, places } = changes(field, id.replace("-", ":"), row, names);
    if (!Object.keys(put).length)
      return field.say("Nothing was changed, so nothing was kept.", "info");
    return field.act(verb, of, listed(put), { words, opened, places });
  };
  return h(
    "details",
    { id },
    h("summary", title),
    h(
      "div.form-narrow",
      asked.map((one) => askedEntry(field, `${id.replace("-", ":")}:${one.name}`, one, row[one.name])),
      h("div.do", press("Keep", keep, { id: `keep-${id}` })),
    ),
  );
}
