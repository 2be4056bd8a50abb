// The day as this device knows it: what the server sent, and over it what only this device holds.
// Nothing is judged here; what an entry would do is shown, and the server decides.

import { shownBegun } from "./begun.js";
import { follow, measuredWhole, solutionText } from "./direct.js";
import { checkBegun, checkNoted, tanksOf, underWay } from "./checking.js";
import { outletFlow, outletOf, sumText } from "./flow.js";
import { nextLabel, nextStandard } from "./labels.js";
import { runAdded } from "./points.js";
import { inspected } from "./tasks.js";

/** States of an entry that no longer stand for what the person wants: a person has to look. */
export const STUCK = new Set(["refused", "crossed", "forbidden", "not_found"]);

/** What makes a line of its own on the day leaves the day itself as it was. */
const BESIDE = new Set(["add_notice", "note_effluent", "inspect", "inspect_site", "begin_test"]);

export function project(day, entries, person, papers = []) {
  const view = structuredClone(day);
  const rows = index(view);
  for (const entry of entries) {
    if (STUCK.has(entry.state) && entry.verb !== "begin_test") continue;
    const of = Object.values(entry.of)[0];
    DEEDS[entry.verb]?.({
      view,
      rows,
      row: rows.get(of),
      entry,
      put: entry.put,
      at: entry.at,
      person,
    });
    const touched = rows.get(of);
    const beside = BESIDE.has(entry.verb);
    if (touched && !beside && entry.state !== "taken") touched.pending = true;
  }
  for (const paper of papers) if (!STUCK.has(paper.state)) answered(rows, paper, person);
  endImpairment(view);
  return view;
}

/** A laboratory's paper that waits: its report, what it says, and bottles no longer under way. */
function answered(rows, { key, of, put, name, at, state }, person) {
  const check = rows.get(of.check);
  const same = ({ laboratory, number }) => laboratory === put.laboratory && number === put.number;
  if (!check || state === "chosen" || check.reports.some(same)) return;
  const pending = state !== "taken";
  const samples = put.samples.map(({ sample }) => sample);
  check.reports.push({ ...put, key, name, samples, pending });
  for (const { sample, values } of put.samples) {
    const row = rows.get(sample);
    if (!row) continue;
    row.under_way = "";
    const by = { entered_at: at, entered_by: person.name, origin: "laboratory" };
    const told = { set_aside_reason: "", set_aside_by: "", by_paper: put.number, pending };
    row.values.push(...values.map((one, n) => ({ key: `${key}-${n}`, ...one, ...by, ...told })));
  }
}

function index(view) {
  const rows = new Map([[view.visit.key, view.visit]]);
  const add = (list, extra = {}) =>
    list.forEach((row) => rows.set(row.key, Object.assign(row, extra)));
  add(view.notices);
  add(view.effluent ?? []);
  add(view.inspection?.noted ?? []);
  add(testsOf(view));
  for (const test of testsOf(view)) {
    test.runs.forEach((run) => rows.set(run.key, Object.assign(run, { test })));
    add(test.flush);
  }
  add(view.restoration);
  add(tanksOf(view));
  for (const check of view.checks ?? []) {
    rows.set(check.key, check);
    check.reports ??= []; // a copy from before this page knew them
    for (const sample of check.samples) {
      rows.set(sample.key, Object.assign(sample, { check }));
      add(sample.values);
    }
  }
  for (const bench of view.benches) {
    rows.set(bench.key, bench);
    for (const bottle of bench.bottles) {
      rows.set(bottle.key, Object.assign(bottle, { bench }));
      add(bottle.readings);
    }
  }
  return rows;
}

/** Every test of the day; one by a direct method has no bench. A copy from before this page knew
 * them lacks what they ask, so it holds none. */
export const testsOf = (view) => [...view.tests, ...(view.direct_asked ? view.direct_tests : [])];
export const directToCome = (view) => (view.direct_asked ? 0 : (view.direct_tests?.length ?? 0));
export const isDirect = (test) => !test.bench;

function bottle(rows, bench, entry, own) {
  const made = {
    key: entry.key,
    run: null,
    set_out: true,
    target_percent: null,
    recipe: null,
    concentrate_ml: "",
    water_ml: "",
    concentrate_g: "",
    water_g: "",
    taken_at: null,
    withdrawn_reason: "",
    readings: [],
    pending: entry.state !== "taken",
    ...own,
    bench,
  };
  if (rows.has(made.key)) return; // the day that was sent has it already
  bench.bottles.push(made);
  rows.set(made.key, made);
}

const benchOf = (view, test) => view.benches.find((bench) => bench.key === test.bench);

function standard({ view, rows, row, entry, put }) {
  const bench = benchOf(view, row);
  const percent = Number(put.target_percent.replace(",", "."));
  const batch = Number(bench.batch_volume_ml);
  const pour = (value) => String(Number(value.toFixed(3)));
  bottle(rows, bench, entry, {
    role: "standard",
    label: put.label || nextStandard(bench),
    target_percent: put.target_percent,
    recipe: {
      concentrate: pour((batch * percent) / 100),
      water: pour(batch - (batch * percent) / 100),
    },
  });
}

function reading({ view, rows, row, entry, put, at, person }) {
  if (rows.has(entry.key)) return;
  const sequence =
    1 + Math.max(0, ...row.bench.bottles.flatMap((one) => one.readings.map((r) => r.sequence)));
  const made = {
    key: entry.key,
    sequence,
    value: put.value,
    temperature: put.temperature ?? "",
    read_at: at,
    read_by: person.name,
    set_aside_reason: "",
    set_aside_by: "",
    question: "",
    pending: entry.state !== "taken",
  };
  row.readings.push(made);
  rows.set(entry.key, made);
}

function tankBottle({ view, rows, row, entry, put, at, person }) {
  if (rows.has(entry.key)) return;
  const made = {
    key: entry.key,
    look: "",
    laboratory: "",
    sent_on: "",
    under_way: "",
    withdrawn_reason: "",
    values: [],
    taken_at: at,
    taken_by: person.name,
    ...put,
    point_label: view.points.find(([value]) => value === put.point)?.[1] ?? put.point,
    pending: entry.state !== "taken",
    check: row,
  };
  row.samples.push(made);
  rows.set(made.key, made);
}

function tankValue({ rows, row, entry, put, at, person }) {
  if (rows.has(entry.key)) return;
  const made = {
    key: entry.key,
    property: put.property,
    value: put.value,
    temperature: put.temperature ?? "",
    origin: put.origin ?? "own",
    entered_at: at,
    entered_by: person.name,
    set_aside_reason: "",
    set_aside_by: "",
    pending: entry.state !== "taken",
  };
  row.values.push(made);
  rows.set(entry.key, made);
}

const setAside = ({ row, put, person }) =>
  Object.assign(row, { set_aside_reason: put.reason, set_aside_by: person.name });
const backAgain = ({ row }) => Object.assign(row, { set_aside_reason: "", set_aside_by: "" });

const DEEDS = {
  note_visit: ({ row, put }) => Object.assign(row, put),
  add_notice({ view, rows, entry, put, at, person }) {
    if (rows.has(entry.key)) return;
    const made = {
      how: "",
      reference: "",
      told_at: at,
      ...put,
      key: entry.key,
      told_by: person.name,
      pending: entry.state !== "taken",
    };
    view.notices.push(made);
    rows.set(entry.key, made);
  },
  note_effluent({ view, rows, entry, put }) {
    if (rows.has(entry.key)) return;
    const made = { place: "", hauler: "", paper: "", note: "", ...put, by: "" };
    Object.assign(made, { key: entry.key, pending: entry.state !== "taken" });
    view.effluent?.push(made);
    rows.set(entry.key, made);
  },
  inspect: inspected,
  inspect_site: inspected,
  withdraw_effluent({ view, row }) {
    view.effluent = view.effluent?.filter((line) => line !== row);
  },
  start_test_day({ row, put, at, person }) {
    if (row.started_at) return;
    Object.assign(row, {
      started_at: put.started_at || at,
      started_by: person.name,
      impairment_reason: put.reason,
      coordinator: put.coordinator,
    });
  },
  take_back_start: ({ row }) => Object.assign(row, { started_at: null, started_by: "" }),
  add_run: runAdded,
  begin_test: shownBegun,
  note_test: ({ row, put }) => Object.assign(row, put),
  foam_seen: ({ row, at }) => (row.foam_seen_at ??= at),
  take_back_foam: ({ row }) => (row.foam_seen_at = null),
  add_sample: ({ view, rows, row, entry, put, at }) =>
    bottle(rows, benchOf(view, row.test), entry, {
      role: "sample",
      run: row.key,
      taken_at: at,
      label: put.label || nextLabel(view, row),
    }),
  withdraw_sample: ({ row, put }) => (row.withdrawn_reason = put.reason),
  bring_back_sample: ({ row }) => (row.withdrawn_reason = ""),
  note_run({ view, row, put }) {
    Object.assign(row, put);
    if (!put.outlets?.length) return;
    const flows = put.outlets.map((text) => outletFlow(outletOf(text), view.units.pressure).flow);
    row.solution_flow = sumText(flows, row.flow_typed, view.units.flow);
    row.flow_source = "pitot";
  },
  flush_done: ({ row, at, person }) =>
    row.done_at || Object.assign(row, { done_at: at, done_by: person.name }),
  flush_undone: ({ row }) => Object.assign(row, { done_at: null, done_by: "" }),
  end_line: ({ row, put, at, person }) =>
    row.outcome ||
    Object.assign(row, {
      reason: "",
      handed_to: "",
      handed_at: null,
      ...put,
      ended_at: at,
      ended_by: person.name,
      reopens: true,
    }),
  reopen_line: ({ row }) =>
    Object.assign(row, {
      outcome: "",
      ended_at: null,
      ended_by: "",
      reason: "",
      handed_to: "",
      handed_at: null,
    }),
  put_back({ view, rows, row, entry, put, at, person }) {
    if (rows.has(entry.key) || row.followed) return;
    row.followed = true;
    const made = {
      ...row,
      key: entry.key,
      follows: row.key,
      followed: false,
      outcome: "restored",
      ended_at: at,
      ended_by: person.name,
      reason: put.reason ?? "",
      handed_to: "",
      handed_at: null,
      reopens: true,
      pending: entry.state !== "taken",
    };
    view.restoration.splice(view.restoration.indexOf(row) + 1, 0, made);
    rows.set(entry.key, made);
  },
  set_out_bench: ({ view, row }) =>
    benchOf(view, row).bottles.forEach((one) => (one.set_out = true)),
  add_system_water({ view, rows, row, entry }) {
    const bench = benchOf(view, row); // its key is settled beforehand, on whichever phone it is made
    bottle(rows, bench, entry, {
      key: bench.system_water ?? entry.key,
      role: "system_water",
      label: "system water",
    });
  },
  add_standard: standard,
  set_volumes: ({ row, put }) => Object.assign(row, put),
  set_masses: ({ row, put }) => Object.assign(row, put),
  withdraw_standard: ({ row, put }) => (row.withdrawn_reason = put.reason),
  add_reading: reading,
  set_aside: setAside,
  bring_back_reading: backAgain,
  note_setup({ view, row, put }) {
    const before = row.runs.map((run) => solutionText(view, row, run));
    Object.assign(row.setup, put);
    row.runs.forEach((run, i) => follow(view, row, run, before[i]));
  },
  note_measured({ view, row, put }) {
    const before = solutionText(view, row.test, row);
    Object.assign(row.test.measured[row.key], put);
    follow(view, row.test, row, before);
  },
  note_bench: ({ view, row, put }) => Object.assign(benchOf(view, row), put),
  hand_in: ({ row }) => (row.handing_in = true),
  begin_check: checkBegun,
  note_check: checkNoted,
  note_check_sample: ({ row, put }) => underWay(Object.assign(row, put)),
  add_check_sample: tankBottle,
  withdraw_check_sample: ({ row, put }) => (row.withdrawn_reason = put.reason),
  bring_back_check_sample: ({ row }) => (row.withdrawn_reason = ""),
  add_value: tankValue,
  set_aside_value: setAside,
  bring_back_value: backAgain,
  hand_in_check: ({ row }) => (row.handing_in = true),
};

// A deed on a row that this copy of the day lacks changes nothing on the screen; it still waits.
for (const [verb, deed] of Object.entries(DEEDS)) {
  DEEDS[verb] = (given) => (given.row ? deed(given) : undefined);
}

export const stillOut = (line) => line.outcome === "left_out" && !line.followed;

function endImpairment(view) {
  const { visit, restoration } = view;
  const out = restoration.filter((line) => !line.outcome || stillOut(line));
  if (!visit.started_at || !restoration.length || out.length) {
    visit.restored_at = null;
    return;
  }
  visit.restored_at ??= restoration
    .map((line) => line.ended_at)
    .sort()
    .at(-1);
}

/** Samples of a flow point that are in use, in the order they were caught. */
export function samplesOf(view, run) {
  return (benchOf(view, run.test)?.bottles ?? [])
    .filter((one) => one.run === run.key && !one.withdrawn_reason)
    .sort((a, b) => (a.taken_at < b.taken_at ? -1 : 1));
}

export const inForce = (bottle) => bottle.readings.filter((one) => !one.set_aside_reason);

/** For each step whether nothing is left to do in it, as itm/records/progress.py has it. */
export function stepsDone(view, test) {
  const samples = test.runs.flatMap((run) => samplesOf(view, run));
  const direct = isDirect(test);
  return {
    discharge: test.runs.every((run) => (direct ? run.solution_flow : samplesOf(view, run).length)),
    measure: direct && measuredWhole(view, test),
    stop: test.flush.every((step) => step.done_at),
    restore: view.restoration.every((line) => line.tag !== test.tag || line.outcome),
    bench: samples.length > 0 && samples.every((one) => inForce(one).length),
    result: Boolean(test.handing_in || test.closed),
  };
}
