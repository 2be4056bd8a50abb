// Flow by pitot, any number of outlets, and quantities as people type them.
// Source: NFPA 291, Q = 29.84 c d² √p in US gpm, inch and psi; held against calc/hydraulics.py in
// tests/browser/test_field_line.py. Factors are exact definitions, NIST SP 811.

const CONSTANT = 29.84;
const GPM = 3.785411784e-3 / 60; // m³/s
const INCH = 0.0254; // m
const PSI = 6894.757293168361; // Pa

export const DIAMETERS = { mm: 1e-3, in: INCH };
export const COEFFICIENTS = [
  ["0.90", "0.90 smooth and rounded"],
  ["0.80", "0.80 square and sharp"],
  ["0.70", "0.70 projecting into the barrel"],
  ["0.95", "0.95 flow tube"],
];

/** m³/s from metres, a coefficient and pascals. */
export function pitotFlow(diameter, coefficient, pressure) {
  return coefficient * CONSTANT * (diameter / INCH) ** 2 * Math.sqrt(pressure / PSI) * GPM;
}

const BARE = /^[+-]?(\d+([.,]\d*)?|[.,]\d+)$/;
const TWO_WAYS = /^[+-]?[1-9]\d{0,2},\d{3}$/;

/** A number as typed, with point or comma, or a sentence. The server reads it again, its own way. */
export function parse(text, what = "This value") {
  const bare = text
    .trim()
    .replace(/[\u00a0\u2009\u202f ]/g, "")
    .replace("−", "-");
  if (!BARE.test(bare) || bare.length > 20) {
    return {
      problem: `${what} is “${text.trim().slice(0, 30)}”; write one number such as 12.5 or 12,5.`,
    };
  }
  return { text: bare.replace(",", "."), value: Number(bare.replace(",", ".")) };
}

/** 1,900 is a thousand nine hundred to one crew and less than two to another: a sentence, or nothing. */
export function twoWays(number) {
  if (!TWO_WAYS.test(number)) return undefined;
  const [whole, rest] = number.split(",");
  return `“${number}” can be read in two ways; write ${whole}${rest} or ${whole}.${rest}.`;
}

/** What stands in a pair of number and unit; nothing typed is nothing, and no problem. */
export function quantity(text, units, what) {
  const [number, unit] = apart(text, Object.keys(units));
  if (!number.trim()) return {};
  const problem = twoWays(number.trim());
  if (problem) return { problem };
  const read = parse(number, what);
  return read.problem ? read : { si: read.value * units[unit] };
}

/** Number and unit of what was typed; from the end, since a unit may hold a space (US gpm). */
export function apart(text, units) {
  for (const unit of [...units].sort((a, b) => b.length - a.length)) {
    if (text.endsWith(` ${unit}`)) return [text.slice(0, -unit.length - 1), unit];
  }
  return [text, ""];
}

/** An outlet as typed → m³/s, or which entry is wrong and why. */
export function outletFlow({ diameter, coefficient, pressure }, pressures) {
  const d = quantity(diameter, DIAMETERS, "The diameter");
  const p = quantity(pressure, pressures, "The pitot pressure");
  const c = Number(coefficient);
  if (d.problem) return { at: "diameter", problem: d.problem };
  if (d.si === undefined || p.si === undefined) return {};
  if (!(d.si > 0 && d.si <= 0.5))
    return { at: "diameter", problem: "An outlet is above 0 and at most 500 mm across." };
  if (p.problem) return { at: "pressure", problem: p.problem };
  if (!(p.si > 0 && p.si <= 1e7))
    return { at: "pressure", problem: "A pitot pressure is above 0 and at most 100 bar." };
  return { flow: pitotFlow(d.si, c, p.si) };
}

/** The sum in the unit of the flow point, four digits, as itm/records/outlets.py writes it. */
export function sumText(flows, like, units) {
  const named = apart(like, Object.keys(units))[1];
  const unit = named || "L/min";
  const sum = flows.reduce((total, one) => total + one, 0);
  return `${Number((sum / units[unit]).toPrecision(4))} ${unit}`;
}

/** An outlet as it is kept: “63.5 mm; 0.90; 1.8 bar”. */
export function outletOf(text) {
  const [diameter, coefficient, pressure] = text.split(";").map((part) => part.trim());
  return { diameter, coefficient, pressure };
}
