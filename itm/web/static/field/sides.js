// An entry that waits: what it is and what keeps it, and, where two people wrote the same thing, both
// side by side until a person chooses.

import { h } from "./dom.js";
import { press } from "./entering.js";
import { isInspection, labelled } from "./tasks.js";
import { clock, instant } from "./words.js";

const STANDS = {
  waiting: "waits for signal",
  refused: "not taken",
  crossed: "changed by somebody else meanwhile",
  forbidden: "not yours to enter",
  not_found: "its row is not on the server",
};

export const siteOf = (field, visit) => field.days.find((one) => one.key === visit)?.day.visit.site;

export function head(field, one) {
  const site = siteOf(field, one.visit);
  return [
    h("strong", one.words),
    h("br"),
    h(
      "small",
      `${site ? `${site.name}, ` : ""}${instant(one.at, site?.time_zone ?? "UTC")}: ${STANDS[one.state]}`,
    ),
    one.sentence ? h("p.sentence", one.sentence) : null,
  ];
}

const LABELS = {
  foam_seen_at: "Foam seen at",
  inlet_pressure: "Inlet pressure",
  solution_flow: "Solution flow",
  flow_source: "Flow taken from",
  level_before: "In the tank before",
  level_after: "In the tank after",
  value: "Reading",
  temperature: "Temperature, °C",
  concentrate_ml: "Concentrate, mL",
  water_ml: "Water, mL",
  concentrate_g: "Concentrate, g",
  water_g: "Water, g",
  label: "Label on the bottle",
  reason: "Reason",
  told: "Who was told",
  how: "How",
  reference: "Reference",
  told_at: "When",
  handed_to: "Handed over to",
  handed_at: "Handed over at",
  outcome: "Outcome",
  outlets: "Outlets by pitot",
  target_percent: "Percent wanted",
  notes: "Notes",
  crew: "Crew",
  weather: "Weather",
  ambient_c: "Air temperature",
  coordinator: "Coordinator",
  effluent_plan: "Effluent",
  started_at: "Started at",
  ended_at: "Ended at",
  done_at: "Ticked at",
  because: "What was wrong",
  answers: "What was found",
  broken: "Something else is not in order",
  note: "Note",
  done_on: "Done on",
  withdrawn_reason: "Withdrawn because",
  set_aside_reason: "Set aside because",
};

// The moment that a press stands for.
const STAMPS = { foam_seen: "foam_seen_at", start_test_day: "started_at" };
const FLOW = new Set(["solution_flow", "flow_source"]);

/** How the day asks for this text, where it does: what it is called, and its choices. */
function askedOf(field, one, name) {
  const own = field.days.find(({ key }) => key === one.visit)?.day;
  const [of] = Object.values(one.of);
  const direct = (own?.direct_tests ?? []).find(
    (test) => test.key === of || test.runs.some((run) => run.key === of),
  );
  const bench = own?.tests.find((test) => test.key === of)?.bench;
  const asked =
    one.verb === "begin_test"
      ? own?.beginning?.asked
      : one.verb === "note_bench"
      ? own?.benches.find(({ key }) => key === bench)?.asked
      : (own?.checking?.[one.verb] ?? own?.direct_asked?.[direct?.method]?.[one.verb]);
  return name ? asked?.find((text) => text.name === name) : asked;
}

export const labelOf = (field, one, name) =>
  askedOf(field, one, name)?.label ?? LABELS[name] ?? name;

/** The texts of an entry that a person may put right where it waits: of a test that was begun here
 * not what it is, since whatever was read hangs on that. */
export function openTexts(field, one) {
  const texts = Object.entries(one.put).filter(([, text]) => typeof text === "string");
  if (one.verb !== "begin_test") return texts.map(([name, text]) => ({ name, text, choices: [] }));
  const asked = askedOf(field, one) ?? [];
  const own = asked.filter(({ name }) => name !== "adjusted" || one.put.phase === "as_left");
  return own.map(({ name, choices }) => ({ name, choices, text: one.put[name] ?? "" }));
}

/** A choice in its words, any other text as it is. */
function inItsWords(field, one, name, text) {
  const choices = askedOf(field, one, name)?.choices ?? [];
  return choices.find(([value]) => value === text)?.[1] ?? text;
}

/** What this entry says of a name that the server tells: a stamp is a moment, outlets make the flow,
 * and an undo says nothing. */
function mineOf({ verb, put, at, opened }, name) {
  if (name in put) return put[name];
  if (STAMPS[verb] === name) return at;
  if (put.outlets?.length && FLOW.has(name)) return put.outlets;
  return name in (opened ?? {}) ? "" : undefined;
}

export const hasSides = (one) =>
  Object.keys(one.now ?? {}).some((name) => mineOf(one, name) !== undefined);

/** Fields that two people wrote: name, mine, theirs, as text. */
function sides(field, one, zone) {
  const text = (value) => (Array.isArray(value) ? inWords(field, one, value) : value) || "nothing";
  const rows = Object.entries(one.now ?? {})
    .map(([name, theirs]) => [name, mineOf(one, name), theirs])
    .filter(([, mine]) => mine !== undefined)
    .map(([name, ...both]) => [name, ...(name.endsWith("_at") ? moments(both, zone) : both)]);
  const differ = rows.filter(([, mine, theirs]) => String(mine) !== String(theirs));
  return (differ.length ? differ : rows).map(([name, ...both]) => [name, ...both.map(text)]);
}

/** A list as one text; what was found of a task by the words of what it wants. A task that somebody
 * completed meanwhile is no longer asked, so the entry knows them itself. */
function inWords(field, one, list) {
  const own = field.days.find(({ key }) => key === one.visit)?.day.inspection;
  const task = own?.tasks.find(({ key }) => key === one.put.duty) ?? one.shows;
  return (isInspection(one) && task ? labelled(task, list) : list).join(", ");
}

/** Both with their seconds, and with their day where it is not the same. */
function moments(both, zone) {
  const days = new Set(both.filter(Boolean).map((at) => instant(at, zone).slice(0, -6)));
  const dated = (at) => `${instant(at, zone).slice(0, -6)} ${clock(at, zone)}`;
  return both.map((at) => at && (days.size > 1 ? dated(at) : clock(at, zone)));
}

/** What stands, as the texts that `opened` holds; a list is its lines. */
const textsOf = (now) =>
  Object.fromEntries(
    Object.entries(now).map(([name, value]) => [
      name,
      Array.isArray(value) ? value.join("\n") : value,
    ]),
  );

/** The same field written by two: side by side, and a person chooses. */
export function crossed(field, one, drop) {
  const rows = sides(field, one, siteOf(field, one.visit)?.time_zone ?? "UTC");
  const putMine = async () => {
    // A deed of its own, with a key of its own: it says that theirs was seen and replaced. A row
    // that it makes keeps its key, because other entries may hang on it.
    const again = {
      ...one,
      key: one.verb.startsWith("add_") ? one.key : crypto.randomUUID(),
      state: "waiting",
      sentence: "",
      code: "",
      now: undefined,
      opened: { ...one.opened, ...textsOf(one.now) },
    };
    await field.store.mark([again]);
    await field.draw();
    await field.handing.now();
  };
  return h(
    "li.stuck",
    { id: `entry-${one.key}` },
    head(field, one),
    h(
      "table.sides",
      h("caption", "Both are kept until you choose"),
      h(
        "thead",
        h(
          "tr",
          h("th", { scope: "col" }, "Entry"),
          h("th", { scope: "col" }, "Yours"),
          h("th", { scope: "col" }, "On the server"),
        ),
      ),
      h(
        "tbody",
        rows.map(([name, mine, theirs]) =>
          h(
            "tr",
            h("th", { scope: "row" }, labelOf(field, one, name)),
            h("td.num", inItsWords(field, one, name, mine)),
            h("td.num", inItsWords(field, one, name, theirs)),
          ),
        ),
      ),
    ),
    h(
      "div.press",
      press("Put mine in its place", putMine, { id: `mine-${one.key}` }),
      press("Keep theirs", drop, { kind: ".outline", id: `theirs-${one.key}` }),
    ),
  );
}

