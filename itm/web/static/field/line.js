// The ordinary line, percent and limits: what a crew needs to know before it packs up. Marked
// preliminary wherever it is shown. Interval and certainty are the server's and stand nowhere here.
// tests/browser/test_field_line.py holds every frozen case of the engine against this file.

import { seriesAt } from "./series.js";
import { byMass, densitiesOf, measureOf, waterDensity } from "./weighing.js";

const ON_THE_LIMIT = 1e-9; // %, as calc/acceptance.py

const sum = (numbers) => numbers.reduce((total, one) => total + one, 0);
const mean = (numbers) => sum(numbers) / numbers.length;

/** Least squares of reading on percent; null where there is no line. */
export function leastSquares(points) {
  const x = mean(points.map(([percent]) => percent));
  const y = mean(points.map(([, reading]) => reading));
  const spread = sum(points.map(([percent]) => (percent - x) ** 2));
  const slope = sum(points.map(([percent, reading]) => (percent - x) * (reading - y))) / spread;
  return slope && Number.isFinite(slope) ? { slope, intercept: y - slope * x } : null;
}

export function fitLine(points) {
  return new Set(points.map(([percent]) => percent)).size < 3 ? null : leastSquares(points);
}

export function side(percent, { lower, upper }) {
  if (percent < lower - ON_THE_LIMIT) return "lean";
  return percent > upper + ON_THE_LIMIT ? "rich" : "in band";
}

function madeOf({ percent, concentrate_ml: concentrate, water_ml: water, ...weighed }, densities) {
  if (percent !== undefined) return percent;
  if (weighed.concentrate_g === undefined) return (100 * concentrate) / (concentrate + water);
  return densities ? byMass(weighed.concentrate_g, weighed.water_g, densities) : NaN;
}

const liquidsOf = ({ densities }, water) =>
  densities && water
    ? {
        concentrate: densities.concentrate,
        water: waterDensity(water, densities.temperature_c),
      }
    : null;

const level = (readings) => mean(readings.map(({ value }) => value));

/** A reading as it would be at another temperature, as calc.readings.at_temperature has it. */
export function atTemperature(value, temperature, to, correction) {
  if (correction.method === "conductivity") {
    const known = [temperature, to].every((one) => one >= 0 && one <= 40);
    const share = (one) => 1 + correction.per_k * (one - 25);
    return known ? value * (share(to) / share(temperature)) : NaN;
  }
  const water = (one) => seriesAt(correction.water_index, one);
  const shift = water(to) - water(temperature);
  if (correction.method === "refractive_index") return value + shift;
  return seriesAt(correction.index_to_brix, seriesAt(correction.brix_to_index, value) + shift);
}

/** The form with every dilute reading at the common temperature, or a sentence why not. */
function atOneTemperature(form, correction) {
  if (!correction) {
    return {
      problem:
        "This copy of the day is older than the correction to one temperature; it comes with the next signal.",
    };
  }
  if (form.instrument.temperature_compensated) {
    return {
      problem:
        "This instrument compensates temperature itself; corrected once more, every reading would be corrected twice.",
    };
  }
  const all = [form.water, ...[...form.standards, ...form.samples].map((one) => one.readings)];
  if (all.flat().some((one) => (one.temperature_c ?? null) === null)) {
    return {
      problem:
        "This test corrects every reading to one temperature, and a reading here has none: note the temperature of each liquid.",
    };
  }
  const moved = (readings) =>
    readings.map(({ value, temperature_c: at }) => ({
      value: atTemperature(value, at, form.correct_to_c, correction),
    }));
  if (all.flatMap(moved).some(({ value }) => !Number.isFinite(value))) {
    return {
      problem:
        "A reading or its temperature lies beyond what a correction is known for; see whether it was typed right.",
    };
  }
  const each = (bottles) => bottles.map((one) => ({ ...one, readings: moved(one.readings) }));
  return {
    ...form,
    correct_to_c: null,
    water: moved(form.water),
    standards: each(form.standards),
    samples: each(form.samples),
  };
}

const NORMAL_C = 20; // as itm/records/evaluate.py, where no temperature was noted

/** Mean temperature of what the line is read at, to tenths; a half goes to the even one. */
export function commonTemperature({ water, standards }) {
  const noted = [water, ...standards.map((one) => one.readings)]
    .flat()
    .map((one) => one.temperature_c)
    .filter((one) => one !== null);
  if (!noted.length) return NORMAL_C;
  const middle = mean(noted);
  if ((middle * 4) % 2 !== 1) return Number(middle.toFixed(1)); // only quarters are halves exactly
  const below = Math.floor(middle * 10);
  return (below % 2 ? below + 1 : below) / 10;
}

/**
 * `form` is the engine's own form of a test. Gives line, samples and flow points, or a sentence that
 * says what is missing. `correction` and `water` come with the day: what the engine's correction of
 * temperature, and the density of water beside weighed concentrate, need on a device
 * (calc/series.py).
 */
export function preliminary(form, bands, correction, water) {
  if ((form.fit ?? "ordinary") !== "ordinary")
    return { problem: "The line of this test is drawn by the server." };
  if (!form.water.length)
    return { problem: "The test water has no reading yet; read it as the zero-percent point." };
  if ((form.correct_to_c ?? null) !== null) {
    const moved = atOneTemperature(form, correction);
    return moved.problem ? moved : preliminary(moved, bands, correction, water);
  }
  const liquids = liquidsOf(form, water);
  const points = form.standards.map((one) => [madeOf(one, liquids), level(one.readings)]);
  if (points.some(([percent]) => !Number.isFinite(percent))) {
    const weighed = form.standards.some((one) => one.concentrate_g !== undefined);
    return {
      problem:
        weighed && !liquids
          ? "Standards were weighed and the bench has no density of the concentrate with its temperature: a percent by mass is none by volume."
          : "A standard that was read has no volumes as made; write both down.",
    };
  }
  if (form.include_water ?? true) points.unshift([0, level(form.water)]);
  const line = fitLine(points);
  if (!line)
    return {
      problem:
        "The line needs at least three different percents, water included, and readings that rise or fall with them.",
    };
  if (!form.samples.length) return { line, problem: "No discharge sample has a reading yet." };
  const readOff = (reading, name) => {
    const percent = (reading - line.intercept) / line.slope;
    return { name, percent, limits: side(percent, bands[name] ?? bands[""]) };
  };
  const levels = new Map();
  for (const one of form.samples) {
    const point = one.flow_point ?? one.name;
    levels.set(point, [...(levels.get(point) ?? []), level(one.readings)]);
  }
  return {
    line,
    samples: form.samples.map((one) => ({
      ...readOff(level(one.readings), one.flow_point ?? one.name),
      name: one.name,
    })),
    flow_points: [...levels].map(([name, own]) => readOff(mean(own), name)),
  };
}

/** The instrument with the setting that it had on this bench, else as its own entry says. */
export function asSet({ instrument, compensation }) {
  const said = { on: true, off: false }[compensation];
  return { ...instrument, temperature_compensated: said ?? instrument.temperature_compensated };
}

/** The engine's form of a test from the day as this device knows it. */
export function formOf(view, test) {
  const bench = view.benches.find((one) => one.key === test.bench);
  const number = (text) => (text ? Number(String(text).replace(",", ".").replace(/\s/g, "")) : NaN);
  const readings = (bottle) =>
    bottle.readings
      .filter((one) => !one.set_aside_reason)
      .map((one) => ({
        value: number(one.value),
        temperature_c: one.temperature.trim() ? number(one.temperature) : null,
      }));
  const made = (one) =>
    Object.fromEntries(measureOf(bench, one).names.map((name) => [name, number(one[name])]));
  const inUse = bench.bottles.filter((one) => !one.withdrawn_reason && readings(one).length);
  const ofRole = (role) => inUse.filter((one) => one.role === role);
  const form = {
    instrument: asSet(bench),
    include_water: test.include_water,
    water: ofRole("water").flatMap(readings),
    standards: ofRole("standard").map((one) => ({
      ...made(one),
      readings: readings(one),
    })),
    densities: densitiesOf(bench, view.units?.density),
    samples: test.runs.flatMap((run) =>
      ofRole("sample")
        .filter((one) => one.run === run.key)
        .map((one) => ({ name: one.label, flow_point: run.name, readings: readings(one) })),
    ),
  };
  return { ...form, correct_to_c: test.correct_temperatures ? commonTemperature(form) : null };
}

/** What a bench of this test needs beside its readings: to correct them, and of its water. */
export function physicsOf(view, test) {
  const { correction, water_density: water } = view.benches.find((one) => one.key === test.bench);
  return [correction, water];
}

export function bandsOf(test) {
  const numbers = ({ lower, upper }) => ({ lower: Number(lower), upper: Number(upper) });
  const own = test.runs.filter((run) => run.band).map((run) => [run.name, numbers(run.band)]);
  return { "": numbers(test.band), ...Object.fromEntries(own) };
}

export const bandOf = (test, run) => bandsOf(test)[run.name] ?? bandsOf(test)[""];

/** Two decimals, or as many as it takes not to be rounded across a limit. */
export function shown(percent, band) {
  for (let digits = 2; digits < 8; digits += 1) {
    const text = percent.toFixed(digits);
    if (side(Number(text), band) === side(percent, band)) return text;
  }
  return String(percent);
}
