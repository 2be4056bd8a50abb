// A reading judged where it is typed, and the odd one asked about while its bottle still stands on
// the table. The rules are those of itm/intake/check.py and doubts.py, and the limits come with the
// day; tests/browser/test_field_readings.py holds the two against each other.

import { asSet, leastSquares } from "./line.js";
import { parse } from "./flow.js";

const SCALE = 8; // digits after the point that are counted exactly; a display has at most 7
const FAR = 3.5;
const FAR_STEPS = 2.5;
const APART_C = 1;
const OTHER_RANGE = 1000;

/** The number as a whole count of 1e-8, so that decimals compare as people read them. */
function exact(text) {
  const [whole, rest = ""] = text.replace("+", "").split(".");
  const sign = whole.startsWith("-") ? -1 : 1;
  return (
    sign *
    (Number(whole.replace("-", "") || 0) * 10 ** SCALE +
      Number(rest.slice(0, SCALE).padEnd(SCALE, "0")))
  );
}

/** Digits as one would write them: 050 is 50, .10 is 0.10 and 17. is 17. */
const canonical = (text) =>
  text
    .replace(/^([+-]?)0*(?=\d)/, "$1")
    .replace(/^([+-]?)\./, "$10.")
    .replace(/\.$/, "");

const decimals = (text) => (text.split(".")[1] ?? "").length;
const plain = (count, digits) => (count / 10 ** SCALE).toFixed(digits);

/** What keeps a reading from being one, in sentences by place: value, temperature. */
export function judge(value, temperature, fields) {
  const wrong = {};
  const read = judgeValue(value, fields.value);
  if (read) wrong.value = read;
  const warm = temperature.trim() && judgeTemperature(temperature, fields.temperature);
  if (warm) wrong.temperature = warm;
  return wrong;
}

function within(count, { lowest, highest, lowest_itself: itself }) {
  return (itself ? count >= exact(lowest) : count > exact(lowest)) && count <= exact(highest);
}

function judgeValue(typed, field) {
  if (!typed.trim()) return `Write what the display shows, such as ${field.example}.`;
  const { text, problem } = parse(typed, "This reading");
  if (problem) return problem;
  const count = exact(text);
  if (!within(count, field)) return `${typed.trim()} is no ${field.name}: it is ${field.range}.`;
  const most = field.decimals;
  if (count % 10 ** (SCALE - most)) {
    const has = `${typed.trim()} has ${decimals(text)} decimals, but`;
    return field.interpolated
      ? `${has} this scale is read to ${field.steps_in_words}: write what you read.`
      : `${has} the display of this instrument has steps of ${field.step}: write what it shows.`;
  }
  const step = exact(field.step);
  if (count % step) {
    const lower = count - (count % step);
    const either = `${plain(lower, most)} or ${plain(lower + step, most)}.`;
    return field.interpolated
      ? `${typed.trim()} lies between two steps of this scale (${field.steps_in_words}): read ${either}`
      : `${typed.trim()} lies between two steps of this display (${field.step}): it shows ${either}`;
  }
  return "";
}

function judgeTemperature(typed, field) {
  const { text, value, problem } = parse(typed, "This temperature");
  if (problem) return problem;
  if (!within(exact(text), field)) {
    if (value > Number(field.highest) && value <= 140) {
      return `${typed.trim()} °C is no temperature of a bench; if it is in °F, write ${(((value - 32) * 5) / 9).toFixed(1)} (°C).`;
    }
    return `${typed.trim()} °C is no temperature of a bench: write ${field.range}.`;
  }
  return decimals(text) > field.decimals
    ? `Write the temperature with at most ${field.decimals} decimals.`
    : "";
}

function median(counts) {
  const sorted = [...counts].sort((a, b) => a - b);
  const half = Math.floor(sorted.length / 2);
  return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
}

const number = (count) => count / 10 ** SCALE;

/** How far two readings of one liquid may lie apart before somebody should look again. A day that
 * was taken along by an older page has no width of a reading; of a display that is its step. */
function limitOf({ resolution, width = Number(resolution), repeatability }) {
  if (repeatability === null) return FAR_STEPS * width;
  return FAR * Math.SQRT2 * Math.hypot(width / Math.sqrt(12), Number(repeatability));
}

/** At most one question a reading, the most telling first: key of the reading → [code, sentence]. */
export function questions(bench, percentOf) {
  const all = bench.bottles
    .filter((bottle) => !bottle.withdrawn_reason)
    .flatMap((bottle) =>
      bottle.readings
        .filter((one) => !one.set_aside_reason)
        .map((one) => {
          const text = canonical(parse(one.value).text);
          return {
            key: one.key,
            sequence: one.sequence,
            bottle: bottle.key,
            role: bottle.role,
            text,
            percent: percentOf(bottle),
            count: exact(text),
            digits: decimals(text),
            warm: one.temperature.trim() ? exact(parse(one.temperature).text) : null,
          };
        }),
    )
    .sort((a, b) => a.sequence - b.sequence);
  const { fields } = bench;
  const instrument = asSet(bench);
  const given = { all, instrument, field: fields.value, limit: limitOf(instrument) };
  const found = new Map();
  for (const read of all) {
    for (const test of TESTS) {
      const question = test(read, given);
      if (question) {
        found.set(read.key, question);
        break;
      }
    }
  }
  return found;
}

const optical = ({ method }) => method === "refractive_index" || method === "brix";

function otherRange(read, { all, instrument }) {
  if (optical(instrument) || read.role === "concentrate" || read.count <= 0) return null;
  const others = all.filter((one) => one.bottle !== read.bottle && one.role !== "concentrate");
  if (!others.length) return null;
  const ratio = read.count / median(others.map((one) => one.count));
  if (Math.max(ratio, 1 / ratio) < OTHER_RANGE / 5) return null;
  return [
    "other_range",
    `Some ${Math.round(Math.max(ratio, 1 / ratio))} times away from the other bottles: did the meter switch between µS/cm and mS/cm? This bench is in ${instrument.unit}.`,
  ];
}

function replicate(read, { all, limit }) {
  const own = all.filter((one) => one.bottle === read.bottle);
  if (own.length < 2 || (own.length === 2 && own[1] !== read)) return null;
  const expected = own.length === 2 ? own[0].count : median(own.map((one) => one.count));
  const apart = Math.abs(read.count - expected);
  if (number(apart) <= limit) return null;
  const digits =
    Math.max(...own.map((one) => one.digits)) + (Number.isInteger(expected / 10) ? 0 : 1);
  const said = `Differs by ${plain(apart, Math.min(digits, SCALE))} from this bottle's other readings.`;
  return [
    "replicate",
    said + (swap(read.text, number(expected), limit) || afterConcentrate(read, all)),
  ];
}

function afterConcentrate(read, all) {
  const before = all.filter((one) => one.sequence < read.sequence).at(-1);
  if (before?.role === "concentrate" && read.role !== "concentrate") {
    return " It came right after the undiluted concentrate: wash the prism and read it again while it is on the table?";
  }
  return " Read it again with a fresh drop while it is on the table?";
}

function offLine(read, { all, limit }) {
  if (read.percent === null) return null;
  const others = new Map();
  for (const one of all) {
    if (one.percent === null || one.bottle === read.bottle) continue;
    others.set(one.bottle, [...(others.get(one.bottle) ?? []), one]);
  }
  const points = [...others.values()].map((own) => [
    own[0].percent,
    number(median(own.map((one) => one.count))),
  ]);
  const line = points.length < 3 ? null : leastSquares(points);
  if (!line) return null;
  const expected = line.intercept + line.slope * read.percent;
  if (Math.abs(number(read.count) - expected) <= limit) return null;
  const other = swap(read.text, expected, limit);
  return other ? ["off_line", `Lies off the line of the other bottles.${other}`] : null;
}

/** Two neighbouring digits changed over, where that would fit; a suggestion, never done. */
function swap(text, expected, limit) {
  const places = [...text].map((c, i) => (/\d/.test(c) ? i : -1)).filter((i) => i >= 0);
  for (let i = 1; i < places.length; i += 1) {
    const [a, b] = [places[i - 1], places[i]];
    if (text[a] === text[b]) continue;
    const digits = [...text];
    [digits[a], digits[b]] = [digits[b], digits[a]];
    const candidate = digits.join("");
    if (Math.abs(Number(candidate) - expected) <= limit) {
      return ` Did the display show ${candidate}? Then read it again and set this one aside.`;
    }
  }
  return "";
}

function outsideRange(read, { all, instrument, limit }) {
  if (!optical(instrument) || !["standard", "sample"].includes(read.role)) return null;
  const of = (role) => all.filter((one) => one.role === role).map((one) => one.count);
  const [water, concentrate] = [of("water"), of("concentrate")];
  if (water.length && number(read.count) < number(median(water)) - limit) {
    return ["outside_range", "Reads below the water. Read both again while they are on the table?"];
  }
  if (concentrate.length && number(read.count) > number(median(concentrate)) + limit) {
    return [
      "outside_range",
      "Reads above the undiluted concentrate. Read it again with a clean prism while it is on the table?",
    ];
  }
  return null;
}

function digits(read, { field }) {
  const { decimals: shows } = field;
  if (read.digits === shows) return null;
  if (field.interpolated) {
    const asks = read.digits < shows ? ": was a digit left out?" : ".";
    return [
      "digits",
      `Typed with ${read.digits} decimals, this scale is read to ${field.steps_in_words}${asks}`,
    ];
  }
  return read.digits < shows
    ? [
        "digits",
        `Typed with ${read.digits} decimals, the display has ${shows}: was a digit left out?`,
      ]
    : ["digits", `Typed with ${read.digits} decimals, the display has only ${shows}.`];
}

function temperatureApart(read, { all, instrument }) {
  if (instrument.temperature_compensated || read.warm === null || read.role === "concentrate")
    return null;
  const standards = all.filter(
    (one) => one.role === "standard" && one.bottle !== read.bottle && one.warm !== null,
  );
  if (!standards.length) return null;
  const apart = number(read.warm - median(standards.map((one) => one.warm)));
  if (Math.abs(apart) < APART_C) return null;
  return [
    "temperature_apart",
    `${Math.abs(apart).toFixed(1)} °C ${apart > 0 ? "warmer" : "colder"} than the standards, and this instrument does not compensate. Bring the bottles to one temperature and read again.`,
  ];
}

function beyondCompensation(read, { instrument }) {
  const { compensates_from_c: low = null, compensates_to_c: high = null } = instrument;
  if (!instrument.temperature_compensated || read.warm === null || low === null || high === null)
    return null;
  if (Number(low) <= number(read.warm) && number(read.warm) <= Number(high)) return null;
  return [
    "beyond_compensation",
    `${number(read.warm)} °C, and this instrument compensates from ${low} to ${high} °C only. Bring the bottle into that range and read it again.`,
  ];
}

const TESTS = [
  otherRange,
  replicate,
  offLine,
  outsideRange,
  digits,
  beyondCompensation,
  temperatureApart,
];
