// What was measured at a flow point, beside the point, the tank and each other: the rule and the
// sentences of itm/records/plausible.py. Pure.

import { quantity } from "./flow.js";

const MOST = {
  solution_flow: [10, "10 m³/s (600000 L/min)"],
  inlet_pressure: [4e7, "400 bar"],
  level_before: [1e5, "100000 m³"],
  level_after: [1e5, "100000 m³"],
};
const FAR = 1.5;
const [LOW, HIGH] = [1e5, 2e6];
const SAME = 1e-9;

/** Why no fixed system can give this, or nothing. */
export function impossible(name, si) {
  const [most, words] = MOST[name];
  return si > most
    ? `More than ${words} is no figure of a fixed foam system: is the unit or the point wrong?`
    : null;
}

function ofFlow(si, run) {
  const ratio = si / run.flow;
  if (si === undefined || (ratio >= 1 / FAR && ratio <= FAR)) return [];
  return [
    `${run.solution_flow} is ${Number(ratio.toPrecision(2))} times the ${run.flow_typed} of this flow point: is a digit or the unit wrong, or were two flow points swapped?`,
  ];
}

function ofPressure(si, typed) {
  if (si === undefined || (si >= LOW && si <= HIGH)) return [];
  const which = si < LOW ? "less than 1 bar" : "more than 20 bar";
  return [`${typed} at the inlet is ${which}: is the point in its place, and the unit right?`];
}

function ofLevels(before, after, run) {
  const out = [
    [before, run.level_before],
    [after, run.level_after],
  ]
    .filter(([si]) => run.capacity && si > run.capacity * (1 + SAME))
    .map(
      ([, typed]) =>
        `${typed} is more than the tank can hold (${run.capacity_typed}): is the unit right?`,
    );
  if (before !== undefined && after !== undefined && after > before * (1 + SAME))
    out.push(
      `The tank holds more after the run (${run.level_after}) than before it (${run.level_before}): are the two swapped?`,
    );
  return out;
}

/** `units` are those of the day, by kind; a day of an older server names no tank. */
export function figureRemarks(run, units) {
  const si = (name, kind) => quantity(run[name] ?? "", units[kind], "This value").si;
  return [
    ...ofFlow(si("solution_flow", "flow"), run),
    ...ofPressure(si("inlet_pressure", "pressure"), run.inlet_pressure),
    ...ofLevels(si("level_before", "volume"), si("level_after", "volume"), run),
  ];
}
