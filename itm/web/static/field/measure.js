// Measure: with what a direct test is measured, and what was read at each flow point. What is asked
// and in which words comes with the day; what the method gives so far stands beside it.

import { h, caution, notice, num, onlyHere } from "./dom.js";
import {
  DISCHARGE,
  DRAW_DOWN,
  RATE,
  TOTALISER,
  WEIGHED,
  directSoFar,
  duration,
  isDrawn,
} from "./direct.js";
import { notStarted } from "./discharge.js";
import { askedEntry, changes, press, valueOf } from "./entering.js";
import { contradictions, remarksOn, wrongTexts } from "./flowing.js";
import { bandOf } from "./line.js";
import { photoPart, photosOf } from "./photos.js";
import { answer } from "./result.js";
import { stopwatch } from "./stopwatch.js";
import { SIZES } from "./vessel.js";
import { inWords } from "./words.js";

const WHILE_IT_FLOWS = "Read meters, level and scale while it flows: after the stop nobody can.";

export function measureScreen(field, test) {
  const { view } = field;
  const asked = view.direct_asked[test.method];
  const writes = view.may.write && !test.closed;
  const found = directSoFar(view, test);
  return [
    h("h1", `Measure, ${test.tag}`),
    h("p.lead", `${test.method_label} · ${test.system}, ${test.phase_label}`),
    test.closed ? notice(test.closed) : null,
    writes && !view.visit.started_at ? notStarted(view) : null,
    writes ? caution(view.cautions.measure) : null,
    h("p", h("strong", test.definition)),
    h(
      "ul",
      asked.notes.map((text) => h("li", text)),
    ),
    writes ? h("p", WHILE_IT_FLOWS) : null,
    forAll(field, test, asked.note_setup, writes),
    found.problem ? notice(found.problem) : null,
    h(
      "div.runs",
      test.runs.map((run) => card(field, test, run, asked.note_measured, writes, found)),
    ),
    h(
      "p.do",
      h("a", { role: "button", href: `#/d/${view.visit.key}/stop/${test.key}` }, "Stop and flush"),
    ),
  ];
}

// For all flow points ----------------------------------------------------------------------------

const FOR_ALL = {
  [DRAW_DOWN]: "Vessel, scale and meter",
  [WEIGHED]: "Scale, density and meter",
};
const OF_VESSEL = new Set(Object.values(SIZES).flat()); // of any shape

function forAll(field, test, asked, writes) {
  const prefix = `setup:${test.key}`;
  if (!writes) return facts(asked, test.setup, "Measured with");
  const shape = valueOf(field, `${prefix}:shape`, test.setup.shape);
  const sizes = SIZES[shape] ?? [];
  const wanted = asked.filter(({ name }) => !OF_VESSEL.has(name) || sizes.includes(name));
  return h(
    "details",
    { id: `setup-${test.key}`, open: asked.every(({ name }) => !test.setup[name]) },
    h("summary", FOR_ALL[test.method] ?? "Meters"),
    h(
      "div.form-narrow",
      wanted.map((one) => entry(field, prefix, one, test.setup)),
      h(
        "div.do",
        press("Keep for all flow points", () => keepSetup(field, test, wanted, prefix), {
          id: `keep-setup-${test.key}`,
        }),
      ),
    ),
  );
}

/** Which entries are asked hangs on some of the choices, so those draw the screen anew. */
const DECIDES = new Set(["shape", "concentrate_read", "second_read"]);

function entry(field, prefix, one, row) {
  const made = askedEntry(field, `${prefix}:${one.name}`, one, row[one.name]);
  if (DECIDES.has(one.name))
    made.querySelector("select").addEventListener("change", () => field.draw());
  return made;
}

function keepSetup(field, test, asked, prefix) {
  const names = asked.map(({ name }) => name);
  const { put, opened, places } = changes(field, prefix, test.setup, names);
  return kept(field, prefix, put, wrongTexts(field.view, asked, put), () =>
    field.act("note_setup", { test: test.key }, put, {
      words: `With what ${test.tag} is measured`,
      opened,
      places,
    }),
  );
}

function kept(field, prefix, put, wrong, act) {
  if (!Object.keys(put).length)
    return field.say("Nothing was changed, so nothing was kept.", "info");
  if (!Object.keys(wrong).length) return act();
  const at = Object.entries(wrong).map(([name, sentence]) => [`${prefix}:${name}`, sentence]);
  return field.refuse(Object.fromEntries(at));
}

// At each flow point -----------------------------------------------------------------------------

function card(field, test, run, asked, writes, found) {
  const { view } = field;
  const read = test.measured[run.key];
  const point = found.flow_points?.find((one) => one.name === run.name);
  const taken = duration(read.duration ?? "").si;
  const photo = { run: run.key };
  return h(
    "section.run",
    { "aria-labelledby": `head-${run.key}` },
    h(
      "h2",
      { id: `head-${run.key}` },
      `${run.name} `,
      h("small.num", run.flow_typed),
      " ",
      onlyHere(run.pending),
    ),
    point ? h("div.answer", answer(point, bandOf(test, run))) : null,
    h(
      "p",
      "Solution flow: ",
      num(run.solution_flow || "not noted"),
      read.second_read === DISCHARGE ? " " : ", as the meters here give it",
      read.second_read === DISCHARGE
        ? h("a", { href: `#/d/${view.visit.key}/discharge/${test.key}` }, "At the discharge")
        : null,
    ),
    taken ? h("p", `The time between is ${inWords(taken)}.`) : null,
    read.foam_words ? h("p", read.foam_words) : null,
    remarksOn(view, test, run).map((text) => notice(text, "warning")),
    writes ? reading(field, test, run, asked) : facts(asked, read, `Read at ${run.name}`),
    h(
      "p",
      writes ? photoPart(field, photo, `${test.tag}, ${run.name}`) : null,
      " ",
      photosOf(field, photo),
    ),
  );
}

/** What is read as a flow has no totaliser, and the other way round. */
function isAsked(name, test, choice) {
  const [, which, what] = name.match(/^(concentrate|second)_(\w+)$/) ?? [];
  const read = which && choice(`${which}_read`);
  if (what === "flow") return read === RATE;
  if (what === "start" || what === "end") return read === TOTALISER;
  if (name === "second_source") return read !== DISCHARGE;
  const counted = ["concentrate_read", "second_read"].some((one) => choice(one) === TOTALISER);
  return name !== "duration" || isDrawn(test) || counted;
}

function reading(field, test, run, asked) {
  const prefix = `measured:${run.key}`;
  const read = test.measured[run.key];
  const choice = (name) => valueOf(field, `${prefix}:${name}`, read[name]);
  const wanted = asked.filter(({ name }) => isAsked(name, test, choice));
  return h(
    "div.measures",
    h("h3", "Read here"),
    wanted.some(({ name }) => name === "duration") ? stopwatch(field, test, run) : null,
    wanted.map((one) => entry(field, prefix, one, read)),
    press("Keep what was read", () => keepRead(field, test, run, wanted, prefix), {
      kind: ".outline",
      id: `keep-measured-${run.key}`,
    }),
  );
}

async function keepRead(field, test, run, asked, prefix) {
  const { view } = field;
  const names = asked.map(({ name }) => name);
  const { put, opened, places } = changes(field, prefix, test.measured[run.key], names);
  const texts = wrongTexts(view, asked, put);
  const wrong = Object.keys(texts).length ? texts : contradictions(view, test, run, put);
  const done = await kept(field, prefix, put, wrong, () =>
    field.act("note_measured", { run: run.key }, put, {
      words: `Read at ${run.name}`,
      opened,
      places,
    }),
  );
  if (!done) return;
  const again = field.view.direct_tests.find((one) => one.key === test.key);
  const odd = remarksOn(
    field.view,
    again,
    again.runs.find((one) => one.key === run.key),
  );
  if (odd.length) field.say(`Read at ${run.name}: kept on this device. ${odd[0]}`, "warning");
}

function facts(asked, row, caption) {
  const noted = asked.filter(({ name }) => row[name]);
  const words = ({ name, choices }) =>
    choices.find(([value]) => value === row[name])?.[1] ?? row[name];
  return [
    h("h3", caption),
    noted.length
      ? h(
          "dl.facts",
          noted.map((one) => [h("dt", one.label), h("dd.num", words(one))]),
        )
      : h("p", "Nothing yet."),
  ];
}
