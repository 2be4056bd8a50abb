// A test that was begun on this device: the rows that the server will make of it, under the keys that
// it will give them (itm/records/prepared_keys.py, itm/doors/day_beginning.py).

import { keyFrom, keysByText } from "./uuid.js";

const pour = (value) => String(Number(value.toFixed(3)));
const labelOf = (choices, value) => choices.find(([one]) => one === value)?.[1] ?? value;

/** The entry's texts, and what they look like until the server has made it of them: `test`, the
 * `bench` where it is a new one, `lines` to put back where none of this proportioner stand yet, and
 * `keys`, all that other entries can hang on. */
export async function testBegun(view, { device, phase, purpose, points, said, bench, meter, lot }) {
  const readWith = bench
    ? `bench ${bench.key}`
    : `meter ${meter.key} and lot ${lot.key || "unknown"}`;
  const name = `${phase} of ${device.key} by bench, ${readWith}, ${device.before[phase]} before`;
  const key = await keyFrom(view.visit.key, name);
  const benchKey = bench ? bench.key : await keyFrom(key, "bench");
  const test = await testOf(view, { key, device, phase, purpose, points, said, bench: benchKey });
  const made = bench ? null : await benchOf(view, { key: benchKey, device, meter, lot, said });
  const lines = await linesOf(view, device);
  const keys = [test, ...test.runs, ...test.flush, ...lines].map((row) => row.key);
  keys.push(...test.points_left.map(({ run }) => run));
  if (made) keys.push(made.key, made.system_water, ...made.bottles.map((one) => one.key));
  return { test, bench: made, lines, keys };
}

async function testOf(view, { key, device, phase, purpose, points, said, bench }) {
  const { labels, asked_of_test: asked } = view.beginning;
  const rule = device.rules[purpose];
  const chosen = new Set(points);
  const runs = [];
  const left = [];
  for (const point of device.points) {
    const run = await keyFrom(key, `run of ${point.key}`);
    const { name, flow, flow_typed } = point;
    const band = rule.own[name] ?? null;
    if (chosen.has(point.key))
      runs.push(runOf({ key: run, name, flow, flow_typed, band }, point.outside));
    else left.push({ flow_point: point.key, run, name, flow, flow_typed, band, measured: null });
  }
  const steps = await keysByText(key, "step", device.flush);
  return {
    key,
    device: device.key,
    tag: device.tag,
    system: device.system,
    kind: device.kind,
    purpose,
    purpose_label: labelOf(labels.purpose, purpose),
    phase,
    phase_label: labelOf(labels.phase, phase),
    adjusted: said.adjusted ?? "",
    notes: said.notes ?? "",
    asked: asked[phase],
    state: "draft",
    state_label: "draft",
    closed: "",
    nominal_percent: device.nominal_percent,
    band: rule.band,
    criterion: rule.criterion,
    include_water: true,
    correct_temperatures: said.correct_temperatures === "True",
    listed: device.listed,
    method: "bench",
    bench,
    runs,
    points_left: left,
    flush: device.flush.map((text, n) => ({ key: steps[n], text, done_at: null, done_by: "" })),
  };
}

const runOf = (run, outside) => ({
  ...run,
  inlet_pressure: "",
  solution_flow: "",
  flow_source: "",
  outlets: [],
  level_before: "",
  level_after: "",
  foam_seen_at: null,
  remarks: outside ? [outside] : [],
});

async function benchOf(view, { key, device, meter, lot, said }) {
  const { bench } = view.beginning;
  const batch = Number((said.batch_volume_ml ?? "200").replace(",", "."));
  const bottles = [];
  for (const { what, role, label, target_percent: percent } of device.bottles) {
    const concentrate = percent && (batch * Number(percent)) / 100;
    bottles.push({
      key: await keyFrom(key, what),
      role,
      label,
      run: null,
      set_out: false,
      target_percent: percent,
      recipe: percent && { concentrate: pour(concentrate), water: pour(batch - concentrate) },
      grams: null,
      concentrate_ml: "",
      water_ml: "",
      concentrate_g: "",
      water_g: "",
      percent: null,
      question: "",
      taken_at: null,
      withdrawn_reason: "",
      readings: [],
    });
  }
  const { instrument, certificates, fields, correction } = meter;
  return {
    ...bench,
    key,
    instrument,
    certificates,
    fields,
    correction,
    remarks: [...meter.remarks, ...lot.remarks],
    lot: lot.key ? lot.words : "",
    tank: device.tank,
    water_source: said.water_source ?? "",
    glassware: said.glassware ?? "",
    first_device: device.key,
    known_densities: [],
    notes: "",
    batch_volume_ml: String(batch),
    closed: "",
    system_water: await keyFrom(key, "system_water"),
    bottles,
  };
}

/** Two tests of one proportioner are put back together: its list is laid once. */
async function linesOf(view, device) {
  if (view.restoration.some((line) => line.device === device.key)) return [];
  const keys = await keysByText(view.visit.key, `line of ${device.key}`, device.restoration);
  return device.restoration.map((text, n) => ({
    key: keys[n],
    device: device.key,
    tag: device.tag,
    text,
    outcome: "",
    outcome_label: "",
    ended_at: null,
    ended_by: "",
    reason: "",
    handed_to: "",
    handed_at: null,
    follows: null,
    followed: false,
    reopens: false,
  }));
}

/** Over the day as it was sent: also where the server did not take it, so that what hangs on it is
 * still seen; where the server has the test, its own stands. */
export function shownBegun({ view, rows, entry }) {
  const { test, bench, lines } = structuredClone(entry.shows);
  const own = { pending: entry.state !== "taken" };
  if (bench && !rows.has(bench.key)) {
    view.benches.push(Object.assign(bench, own));
    rows.set(bench.key, bench);
    for (const bottle of bench.bottles) rows.set(bottle.key, Object.assign(bottle, { bench }));
  }
  for (const line of lines.filter((one) => !rows.has(one.key))) {
    view.restoration.push(Object.assign(line, own));
    rows.set(line.key, line);
  }
  if (rows.has(test.key)) return;
  view.tests.push(Object.assign(test, own, { not_taken: entry.sentence || "" }));
  rows.set(test.key, test);
  for (const run of test.runs) rows.set(run.key, Object.assign(run, { test }));
  for (const step of test.flush) rows.set(step.key, step);
}

/** Lines to put back that stand in days as the server sent them: whatever becomes of a test begun here,
 * a valve that was put back is ticked there. Nothing else of such a test: the server may have a key of
 * it for one that was given up. */
export const linesThere = (days) =>
  new Set(days.flatMap(({ day }) => (day.restoration ?? []).map(({ key }) => key)));

/** Keys that only this entry would make; `there` as linesThere gives them. */
export const keysMade = ({ shows }, there) => (shows?.keys ?? []).filter((key) => !there.has(key));

/** Keys of rows that only entries of this device would make, however far: what hangs on one waits for
 * the test that was begun here. `entries` in the order they were made. */
export function keysToCome(entries, there) {
  const keys = new Set();
  for (const entry of entries) {
    if (entry.state === "taken") continue;
    if (hangsOnKeys(entry, keys)) keys.add(entry.key);
    if (entry.verb === "begin_test") keysMade(entry, there).forEach((key) => keys.add(key));
  }
  return keys;
}

/** Whether an entry or photo hangs on a row of that set, or names a bench of it. */
export const hangsOnKeys = ({ verb, of, put }, keys) =>
  Object.values(of).some((key) => keys.has(key)) || (verb === "begin_test" && keys.has(put.bench));
