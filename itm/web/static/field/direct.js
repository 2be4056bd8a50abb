// A test by a direct method on the spot: what was typed as numbers, percent and limits. Interval and
// certainty are the server's and stand nowhere here. tests/browser/test_field_direct.py holds every
// frozen case of the engine against this file.

import { apart, outletFlow, outletOf, parse, quantity } from "./flow.js";
import { bandsOf, side } from "./line.js";
import { SIZES, volumeAt, whole } from "./vessel.js";

export const DRAW_DOWN = "draw_down";
export const WEIGHED = "weighed";
/** What left a tank or drum, over a time. */
export const isDrawn = ({ method }) => method === DRAW_DOWN || method === WEIGHED;
export const OTHER_LIQUID = "other_liquid";
export const DISCHARGE = "discharge"; // the second flow is what was noted there
export const RATE = "rate";
export const TOTALISER = "totaliser";
const IN_WATER = "water";
const SAME_FLOW = 0.1; // share of the baseline's flow, as calc/direct.py
const DIGITS = 6; // of a flow that is worked out, as itm/records/direct_flows.py

// Percent ----------------------------------------------------------------------------------------

function ratio(first, second, meterIn) {
  const solution = meterIn === IN_WATER ? second + first : second;
  if (first > solution)
    return {
      problem: "More flows in the concentrate line than in the solution: look at the units.",
    };
  return { percent: (100 * first) / solution, solution };
}

const PERCENT = {
  two_flows: ({ meter_in }, { concentrate_flow: first, second_flow: second }) =>
    ratio(first.value, second.value, meter_in),
  draw_down(
    { vessel },
    { level_before: before, level_after: after, seconds, solution_flow: flow },
  ) {
    const drawn = volumeAt(vessel, before.value) - volumeAt(vessel, after.value);
    return { percent: (100 * drawn) / (seconds.value * flow.value) };
  },
  weighed({ density }, { mass_before: before, mass_after: after, seconds, solution_flow: flow }) {
    const drawn = (before.value - after.value) / density.value;
    return { percent: (100 * drawn) / (seconds.value * flow.value) };
  },
  other_liquid({ meter_in }, { liquid_flow: first, second_flow: second, baseline: was }) {
    const now = ratio(first.value, second.value, meter_in);
    const then = ratio(was.liquid_flow.value, was.second_flow.value, meter_in);
    const wrong = now.problem ?? then.problem;
    if (wrong) return { problem: wrong };
    const apart = (flow) => Math.abs(flow - was.solution_flow) > SAME_FLOW * was.solution_flow;
    if (apart(now.solution) || apart(then.solution))
      return {
        problem:
          "This flow is more than a tenth off that of the baseline, where its factor no longer holds.",
      };
    return { percent: now.percent * (was.percent / then.percent) };
  },
};

/** `form` is the engine's own form of a direct test; of each reading only its value counts. */
export function preliminaryDirect(form, bands) {
  const found = form.flow_points.map((point) => {
    const { percent, problem } = PERCENT[form.method](form, point);
    if (problem) return { name: point.name, problem };
    return { name: point.name, percent, limits: side(percent, bands[point.name] ?? bands[""]) };
  });
  return { flow_points: found };
}

// Texts as numbers -------------------------------------------------------------------------------

const CLOCK = /^(?:(\d{1,2}):)?(\d{1,3}):(\d{2})$/;
const LONGEST = 24 * 3600; // s, as itm/core/durations.py

/** Seconds of “2:30”, “1:02:30” or “150 s”; 2.30 alone is asked and not guessed. */
export function duration(text) {
  const bare = text.trim();
  if (!bare) return {};
  const si = clock(bare) ?? inSeconds(bare);
  if (si > 0 && si <= LONGEST) return { si };
  return {
    problem: `“${bare.slice(0, 20)}” is no length of time here: write minutes and seconds as 2:30, or seconds as 150 s. A plain 2.30 could be either.`,
  };
}

function clock(bare) {
  const [found, hours, minutes, seconds] = bare.match(CLOCK) ?? [];
  if (!found || seconds > 59 || (hours !== undefined && minutes > 59)) return null;
  return 3600 * (hours ?? 0) + 60 * minutes + Number(seconds);
}

function inSeconds(bare) {
  const found = bare.match(/^(.+?)\s*s$/);
  return found ? parse(found[1]).value : undefined;
}

export const number = (view, text, kind) => quantity(text ?? "", view.units[kind], "This value").si;

export const vesselOf = (view, setup) => {
  const sizes = (SIZES[setup.shape] ?? []).map((name) => [
    name,
    name === "heads" ? setup.heads : number(view, setup[name], "length"),
  ]);
  return whole({ shape: setup.shape, ...Object.fromEntries(sizes) });
};

/** Of one meter, in m³/s; nothing while something is missing. */
function metered(view, read, name) {
  if (read[`${name}_read`] === RATE) return number(view, read[`${name}_flow`], "flow");
  const [start, end] = ["start", "end"].map((when) =>
    number(view, read[`${name}_${when}`], "volume"),
  );
  const over = duration(read.duration ?? "").si;
  const known = [start, end, over].every((one) => one !== undefined);
  return known ? (end - start) / over : undefined;
}

export function discharged(view, run) {
  if (!run.outlets?.length) return number(view, run.solution_flow, "flow");
  const flows = run.outlets.map((text) => outletFlow(outletOf(text), view.units.pressure).flow);
  return flows.reduce((total, one) => total + one, 0);
}

export const meterIn = (test) => (isDrawn(test) ? "solution" : test.setup.meter_in);

/** Of the second meter, in the solution or in the water; at the discharge it is of the solution. */
function second(view, test, run, read) {
  if (read.second_read !== DISCHARGE) return metered(view, read, "second");
  return meterIn(test) === "solution" ? discharged(view, run) : undefined;
}

/** What the meters give as solution flow, as the server would write it; nothing where it was noted
 * at the discharge. */
export function solutionText(view, test, run, read = test.measured[run.key]) {
  if (read.second_read === DISCHARGE || !meterIn(test)) return "";
  const other = metered(view, read, "second");
  if (other === undefined) return "";
  const water = meterIn(test) === IN_WATER;
  if (!water && read.second_read === RATE) return read.second_flow;
  const more = water ? metered(view, read, "concentrate") : 0;
  if (more === undefined) return "";
  const unit = apart(run.flow_typed, Object.keys(view.units.flow))[1] || "L/min";
  return `${Number(((other + more) / view.units.flow[unit]).toPrecision(DIGITS))} ${unit}`;
}

/** After meters or readings were changed: the solution flow of the run is what they give. */
export function follow(view, test, run, before) {
  const now = solutionText(view, test, run);
  if (now) {
    const source = test.measured[run.key].second_source || "meter";
    Object.assign(run, { solution_flow: now, flow_source: source });
  } else if (before && run.solution_flow === before) {
    Object.assign(run, { solution_flow: "", flow_source: "" });
  }
}

/** The engine's form of a test from the day as this device knows it; flow points with something
 * missing are left out. */
export function formOfDirect(view, test) {
  const points = test.runs.map((run) => pointOf(view, test, run)).filter(Boolean);
  return { method: test.method, ...headOf(view, test), flow_points: points };
}

function headOf(view, { method, setup }) {
  if (method === DRAW_DOWN)
    return { vessel: vesselOf(view, setup), level_step: number(view, setup.level_step, "length") };
  if (method === WEIGHED)
    return { density: densityOf(view, setup), scale_step: number(view, setup.scale_step, "mass") };
  return { meter_in: setup.meter_in };
}

/** As a reading of the engine's form; nothing while it is missing. */
function densityOf(view, setup) {
  const value = number(view, setup.density, "density");
  return value === undefined ? null : { value };
}

/** With what a flow point is measured, as far as its plain percent needs it. */
function knownOf(view, { method, setup }) {
  if (method === DRAW_DOWN) return vesselOf(view, setup);
  return method === WEIGHED ? densityOf(view, setup) : setup.meter_in;
}

function pointOf(view, test, run) {
  const read = test.measured[run.key];
  const level = (name) => number(view, read[name], "length");
  const mass = (name) => number(view, read[name], "mass");
  const other = second(view, test, run, read);
  const first = metered(view, read, "concentrate");
  const values = {
    two_flows: { concentrate_flow: first, second_flow: other },
    draw_down: {
      level_before: level("level_before"),
      level_after: level("level_after"),
      seconds: duration(read.duration ?? "").si,
      solution_flow: other,
    },
    weighed: {
      mass_before: mass("mass_before"),
      mass_after: mass("mass_after"),
      seconds: duration(read.duration ?? "").si,
      solution_flow: other,
    },
    other_liquid: { liquid_flow: first, second_flow: other },
  }[test.method];
  const known = knownOf(view, test);
  const was = test.method === OTHER_LIQUID ? baselineOf(view, read) : {};
  if (!known || !was || Object.values(values).some((one) => one === undefined)) return null;
  const plain = (all) =>
    Object.fromEntries(Object.entries(all).map(([name, value]) => [name, { value }]));
  return { name: run.name, ...plain(values), ...was };
}

function baselineOf(view, read) {
  const [liquid, other] = ["liquid", "second"].map((name) =>
    number(view, read[`beside_${name}_flow`], "flow"),
  );
  if (read.foam_percent === null || liquid === undefined || other === undefined) return null;
  return {
    baseline: {
      percent: read.foam_percent,
      solution_flow: read.foam_flow,
      liquid_flow: { value: liquid },
      second_flow: { value: other },
    },
  };
}

/** What this device can say of a test, or the sentence why there is nothing to say yet. */
export function directSoFar(view, test) {
  const form = formOfDirect(view, test);
  if (test.method === DRAW_DOWN && !form.vessel)
    return { problem: "The vessel has no shape with all its sizes yet." };
  if (test.method === WEIGHED && !form.density)
    return { problem: "The concentrate has no density yet: a weight is a volume only with it." };
  if (!isDrawn(test) && !form.meter_in)
    return { problem: "Say where the second meter sits: in the solution, or in the water." };
  if (!form.flow_points.length)
    return {
      problem: "No flow point has all its measurements yet; write down what was read there.",
    };
  return preliminaryDirect(form, bandsOf(test));
}

export const measuredWhole = (view, test) =>
  formOfDirect(view, test).flow_points.length === test.runs.length;

/** Whether something was read that nobody can read before it has flowed, as itm/records/services.py
 * has it when a start is taken back. */
export const hasFlowed = (read) =>
  ["duration", "level_after", "mass_after", "concentrate_end", "second_end"].some(
    (name) => read[name],
  ) ||
  ["concentrate", "second"].some(
    (name) => read[`${name}_flow`] && read[`${name}_source`] !== "nameplate",
  );

/** What the server will want before a hand-in, as itm/intake/complete_direct.py has it. */
export function lackOf(view, test) {
  const { setup, method } = test;
  const out = [];
  const named = (name) => setup[`${name}_meter`] || setup[`${name}_fitted`]?.trim();
  if (method === DRAW_DOWN) {
    if (!vesselOf(view, setup)) out.push("The vessel has no shape with all its sizes");
    if (!setup.level_step) out.push("The level scale has no step");
  } else if (method === WEIGHED) {
    if (!setup.scale?.trim()) out.push("No scale is named");
    if (!setup.scale_step || !setup.scale_error) out.push("Nothing says how good the scale is");
    if (!setup.density || !setup.density_error)
      out.push("The concentrate has no density, or nothing says how good it is");
    else if (!setup.density_from) out.push("Nothing says where the density comes from");
  } else {
    if (!named("concentrate")) out.push("No meter is named for the concentrate line");
    if (!setup.concentrate_accuracy) out.push("Nothing says how good that meter is");
    if (!setup.meter_in) out.push("Nothing says where the second meter sits");
  }
  const byMeter = test.runs.some(
    (run) => test.measured[run.key].second_read !== DISCHARGE || run.flow_source === "meter",
  );
  if (byMeter && !named("second")) out.push("No meter is named for the second flow");
  if (!setup.second_accuracy) out.push("Nothing says how good the second flow is");
  return [...out, ...test.runs.flatMap((run) => lackAt(view, test, run))];
}

function lackAt(view, test, run) {
  const read = test.measured[run.key];
  const sources = [read.concentrate_source, read.second_source, run.flow_source];
  if (sources.includes("nameplate"))
    return [`${run.name} has a flow from a nameplate, which is no evidence`];
  if (!isDrawn(test) && !read.concentrate_source)
    return [`${run.name} does not say where the flow in the concentrate line comes from`];
  if (test.method === OTHER_LIQUID && !(read.beside_on && read.beside_source?.trim()))
    return [`${run.name} does not say when and where this liquid was read beside the foam`];
  return pointOf(view, test, run) ? [] : [`${run.name} lacks something of what is read there`];
}
