// The ordinary line, percent and limits: what a crew needs to know before it packs up. Marked
// preliminary wherever it is shown. Interval and certainty are the server's and stand nowhere here.
// tests/browser/test_field_line.py holds every frozen case of the engine against this file.

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

const madeOf = ({ percent, concentrate_ml: concentrate, water_ml: water }) =>
  percent ?? (100 * concentrate) / (concentrate + water);

const level = (readings) => mean(readings.map(({ value }) => value));

/**
 * `form` is the engine's own form of a test. Gives line, samples and flow points, or a sentence that
 * says what is missing.
 */
export function preliminary(form, bands) {
  if (form.correct_to_c !== undefined && form.correct_to_c !== null) {
    return {
      problem:
        "This test corrects every reading to one temperature: the server does that, so there is no figure here.",
    };
  }
  if ((form.fit ?? "ordinary") !== "ordinary")
    return { problem: "The line of this test is drawn by the server." };
  if (!form.water.length)
    return { problem: "The test water has no reading yet; read it as the zero-percent point." };
  const points = form.standards.map((one) => [madeOf(one), level(one.readings)]);
  if (points.some(([percent]) => !Number.isFinite(percent))) {
    return { problem: "A standard that was read has no volumes as made; write both down." };
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

/** The engine's form of a test from the day as this device knows it. */
export function formOf(view, test) {
  const bench = view.benches.find((one) => one.key === test.bench);
  const number = (text) => (text ? Number(String(text).replace(",", ".").replace(/\s/g, "")) : NaN);
  const readings = (bottle) =>
    bottle.readings
      .filter((one) => !one.set_aside_reason)
      .map((one) => ({ value: number(one.value) }));
  const inUse = bench.bottles.filter((one) => !one.withdrawn_reason && readings(one).length);
  const ofRole = (role) => inUse.filter((one) => one.role === role);
  return {
    include_water: test.include_water,
    correct_to_c: test.correct_temperatures ? 20 : null,
    water: ofRole("water").flatMap(readings),
    standards: ofRole("standard").map((one) => ({
      concentrate_ml: number(one.concentrate_ml),
      water_ml: number(one.water_ml),
      readings: readings(one),
    })),
    samples: test.runs.flatMap((run) =>
      ofRole("sample")
        .filter((one) => one.run === run.key)
        .map((one) => ({ name: one.label, flow_point: run.name, readings: readings(one) })),
    ),
  };
}

export function bandsOf(test) {
  const numbers = ({ lower, upper }) => ({ lower: Number(lower), upper: Number(upper) });
  const own = test.runs.filter((run) => run.band).map((run) => [run.name, numbers(run.band)]);
  return { "": numbers(test.band), ...Object.fromEntries(own) };
}

/** Two decimals, or as many as it takes not to be rounded across a limit. */
export function shown(percent, band) {
  for (let digits = 2; digits < 8; digits += 1) {
    const text = percent.toFixed(digits);
    if (side(Number(text), band) === side(percent, band)) return text;
  }
  return String(percent);
}
