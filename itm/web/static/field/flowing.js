// What is asked of a direct test while the run can still be prolonged, and what keeps a text from
// being taken. tests/browser/test_field_direct.py holds it against the questions of the pages.

import {
  DRAW_DOWN,
  WEIGHED,
  discharged,
  duration,
  meterIn,
  number,
  solutionText,
  vesselOf,
} from "./direct.js";
import { quantity } from "./flow.js";
import { heightOf, volumeAt } from "./vessel.js";
import { inWords } from "./words.js";

const RESOLUTIONS = 10; // steps that a level must move, common practice, no published source
const SLOPE_STEP = 1e-4; // of the height of a vessel, as calc/direct.py

const surface = (vessel, level) => {
  const most = heightOf(vessel);
  const [low, high] = [-1, 1].map((sign) =>
    Math.min(most, Math.max(0, level + sign * SLOPE_STEP * most)),
  );
  return (volumeAt(vessel, high) - volumeAt(vessel, low)) / (high - low);
};

/** On the measurements of one flow point, as itm/records/direct_remarks.py; they refuse nothing. */
export function remarksOn(view, test, run) {
  const read = test.measured[run.key];
  const out = [];
  if ([read.concentrate_source, read.second_source].includes("nameplate"))
    out.push("A flow from the nameplate was not measured: it is no evidence of a percent.");
  if (test.method === DRAW_DOWN) return [...out, ...onLevel(view, test, run, read)];
  if (test.method === WEIGHED) return [...out, ...onWeight(view, test, run, read)];
  const share = (100 * number(view, read.concentrate_flow, "flow")) / discharged(view, run);
  if (meterIn(test) === "solution" && share > 3 * Number(test.nominal_percent))
    out.push(
      `That is ${Number(share.toPrecision(3))} % of the solution where ${test.nominal_percent} % is nominal: look at the units, and whether a totaliser was read as a flow.`,
    );
  return out;
}

function onLevel(view, test, run, read) {
  const vessel = vesselOf(view, test.setup);
  const [step, before, after] = [test.setup.level_step, read.level_before, read.level_after].map(
    (text) => number(view, text, "length"),
  );
  const taken = duration(read.duration ?? "").si;
  if (!vessel || !step || !(before > 0 && before <= heightOf(vessel))) return [];
  if (after !== undefined && taken !== undefined) {
    const moved = before - after;
    if (moved >= (RESOLUTIONS - 1e-9) * step) return [];
    const more = inWords(Math.round(taken * Math.max((RESOLUTIONS * step) / moved - 1, 0)));
    return [
      `The level sank by less than ten steps of its scale: run about ${more} longer at this flow, read the level again and write the whole time (ten steps: common practice).`,
    ];
  }
  const flow = discharged(view, run) ?? run.flow;
  const drawn = (flow * Number(test.nominal_percent)) / 100;
  const needed = inWords(Math.round((RESOLUTIONS * step * surface(vessel, before)) / drawn));
  return [
    `At ${run.solution_flow || run.flow_typed} and nominal percent the level sinks by ten steps of its scale in about ${needed}: run at least so long (common practice).`,
  ];
}

function onWeight(view, test, run, read) {
  const [step, before, after] = [test.setup.scale_step, read.mass_before, read.mass_after].map(
    (text) => number(view, text, "mass"),
  );
  const taken = duration(read.duration ?? "").si;
  if (!step || !(before > 0)) return [];
  if (after !== undefined && taken !== undefined) {
    const moved = before - after;
    if (moved >= (RESOLUTIONS - 1e-9) * step) return [];
    const more = inWords(Math.round(taken * Math.max((RESOLUTIONS * step) / moved - 1, 0)));
    return [
      `The scale went down by less than ten of its steps: run about ${more} longer at this flow, weigh again and write the whole time (ten steps: common practice).`,
    ];
  }
  const density = number(view, test.setup.density, "density");
  if (!density) return [];
  const flow = discharged(view, run) ?? run.flow;
  const drawn = (flow * Number(test.nominal_percent)) / 100;
  const needed = inWords(Math.round((RESOLUTIONS * step) / (density * drawn)));
  return [
    `At ${run.solution_flow || run.flow_typed} and nominal percent the scale goes down by ten of its steps in about ${needed}: run at least so long (common practice).`,
  ];
}

/** What keeps texts of `note_measured` or `note_setup` from being taken: sentences by name. */
export function wrongTexts(view, asked, put) {
  const found = asked
    .filter(({ name }) => put[name])
    .map(({ name, kind }) => [name, wrongText(view, name, kind, put[name])]);
  return Object.fromEntries(found.filter(([, problem]) => problem));
}

const WORST = 50; // % of the reading, as itm/records/measuring.py
const [LIGHTEST, HEAVIEST] = [700, 1600]; // kg/m³ of a concentrate, as there

function wrongText(view, name, kind, text) {
  if (kind === "duration") return duration(text).problem;
  if (!view.units[kind]) return null;
  const { si, problem } = quantity(text, view.units[kind], "This value");
  if (problem) return problem;
  if (kind === "share")
    return si > 0 && si <= WORST
      ? null
      : `${text} is no accuracy of a meter: write by how much of its reading it may be off, above 0 and at most ${WORST} %.`;
  if (name === "density" && !(si >= LIGHTEST && si <= HEAVIEST))
    return si > 0
      ? `${text} is no density of a concentrate: it is ${LIGHTEST} to ${HEAVIEST} kg/m³.`
      : "A weight and a density are above 0.";
  if (name.startsWith("mass_")) return si < 0 ? "A scale shows 0 or more." : null;
  if (["mass", "density"].includes(kind))
    return si > 0 ? null : "A weight and a density are above 0.";
  if (kind === "volume") return si < 0 ? "A totaliser shows 0 or more." : null;
  if (kind === "flow") return si > 0 ? null : "A flow is above 0.";
  const level = ["level_before", "level_after"].includes(name); // judged beside the vessel
  return level || si > 0 ? null : "A length is above 0.";
}

/** Where readings that are each in order contradict each other, or the vessel. */
export function contradictions(view, test, run, put) {
  const read = { ...test.measured[run.key], ...put };
  const wrong = {};
  for (const name of ["concentrate", "second"]) {
    const [start, end] = ["start", "end"].map((when) =>
      number(view, read[`${name}_${when}`], "volume"),
    );
    if (end <= start)
      wrong[`${name}_end`] =
        "A totaliser shows more after the run than before it; a flow as shown by the display is another kind of reading.";
  }
  const [before, after] = ["before", "after"].map((when) =>
    test.method === DRAW_DOWN ? number(view, read[`level_${when}`], "length") : undefined,
  );
  if (after >= before) wrong.level_after = "The level after the run lies below that before it.";
  const [heavy, light] = ["before", "after"].map((when) =>
    test.method === WEIGHED ? number(view, read[`mass_${when}`], "mass") : undefined,
  );
  if (light >= heavy) wrong.mass_after = "The scale shows less after the run than before it.";
  Object.assign(wrong, beyondVessel(vesselOf(view, test.setup), { before, after }));
  return { ...wrong, ...notedAlready(view, test, run, read) };
}

function beyondVessel(vessel, levels) {
  const most = vessel ? heightOf(vessel) : Infinity;
  const inside = vessel ? `from 0 to ${Number(most.toPrecision(3))} m` : "0 or more";
  const out = Object.entries(levels).filter(([, level]) => level < 0 || level > most);
  return Object.fromEntries(
    out.map(([when]) => [
      `level_${when}`,
      `A level is counted from the lowest point inside: ${inside} in this vessel.`,
    ]),
  );
}

/** A flow of the discharge is not written over by a meter in silence. */
function notedAlready(view, test, run, read) {
  const [now, before] = [solutionText(view, test, run, read), solutionText(view, test, run)];
  if (!now || ["", now, before].includes(run.solution_flow)) return {};
  return {
    second_read: `${run.solution_flow} is noted as solution flow at the discharge: say that it counts, or empty it there before a meter is read in its place.`,
  };
}
