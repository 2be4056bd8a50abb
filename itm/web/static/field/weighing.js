// Standards by volume or by mass: which amounts are written, and the percent by volume that follows.
// As itm/records/weighing.py; the density of water comes with the day (calc/series.py).
// tests/browser/test_field_weighing.py holds it against the engine.

import { apart, parse, quantity } from "./flow.js";
import { seriesAt } from "./series.js";

const VOLUME = {
  names: ["concentrate_ml", "water_ml"],
  unit: "mL",
  word: "volume",
  words: "Volumes",
  done: "poured",
  verb: "set_volumes",
};
const MASS = {
  names: ["concentrate_g", "water_g"],
  unit: "g",
  word: "mass",
  words: "Masses",
  done: "weighed",
  verb: "set_masses",
};

const begun = (bottle, { names }) => names.some((name) => bottle[name]);

/** As it was begun, else as the bench says. */
export function measureOf(bench, bottle) {
  if (begun(bottle, VOLUME)) return VOLUME;
  return begun(bottle, MASS) || bench.standards_by === "mass" ? MASS : VOLUME;
}

const isWeighed = (bottle) => begun(bottle, MASS);

/** Whether both amounts are written, one way or the other. */
export const isMade = (bottle) =>
  [VOLUME, MASS].some(({ names }) => names.every((name) => bottle[name]));

const FAHRENHEIT = "°F";

function celsius(text) {
  const [number, unit] = apart(text, ["°C", FAHRENHEIT]);
  const { value = NaN } = parse(number);
  return unit === FAHRENHEIT ? (value - 32) / 1.8 : value;
}

/** The engine's entry, or null while density or temperature is not known. */
export function densitiesOf(bench, units) {
  if (!bench.density || !bench.density_at || !units) return null;
  const concentrate = quantity(bench.density, units).si;
  const at = celsius(bench.density_at);
  return concentrate > 0 && Number.isFinite(at) ? { concentrate, temperature_c: at } : null;
}

/** kg/m³ of fresh water; no number beyond what its equation is good for. */
export const waterDensity = (series, at) => seriesAt(series, at);

/** Percent by volume of what was weighed, from grams and kg/m³ of both liquids. */
export function byMass(concentrate, water, densities) {
  const volume = concentrate / densities.concentrate;
  return (100 * volume) / (volume + water / densities.water);
}

function liquids(bench, units) {
  const known = densitiesOf(bench, units);
  if (!known || !bench.water_density) return null;
  const water = waterDensity(bench.water_density, known.temperature_c);
  return water > 0 ? { concentrate: known.concentrate, water } : null;
}

const amounts = (bottle, { names }) =>
  names.map((name) => (bottle[name] ? parse(bottle[name]).value : NaN));

/** Percent of a bottle where it is known: what was really poured or weighed. */
export function percentOf(bench, bottle, units) {
  if (bottle.role === "water") return 0;
  if (bottle.role !== "standard") return null;
  const weighed = isWeighed(bottle);
  const [concentrate, water] = amounts(bottle, weighed ? MASS : VOLUME);
  const densities = weighed ? liquids(bench, units) : null;
  if (weighed && !densities) return null;
  const percent = weighed
    ? byMass(concentrate, water, densities)
    : (100 * concentrate) / (concentrate + water);
  return Number.isFinite(percent) ? percent : null;
}

/** The same for whatever bottle of a bench of this day. */
export const percentIn = (view, bench) => (bottle) => percentOf(bench, bottle, view.units.density);

/** Percent by mass of a standard that was weighed; none by volume. */
export function massPercent(bottle) {
  const [concentrate, water] = amounts(bottle, MASS);
  const percent = (100 * concentrate) / (concentrate + water);
  return isWeighed(bottle) && Number.isFinite(percent) ? percent : null;
}

/** What to measure out, in the unit of this standard; null while the density is not known. */
export function recipeOf(bench, bottle, units) {
  if (!bottle.recipe || measureOf(bench, bottle) === VOLUME) return bottle.recipe;
  const densities = liquids(bench, units);
  const grams = (name) => ((Number(bottle.recipe[name]) * densities[name]) / 1000).toFixed(2);
  return densities ? { concentrate: grams("concentrate"), water: grams("water") } : null;
}
