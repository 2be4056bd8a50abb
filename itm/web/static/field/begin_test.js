// A test begun where its proportioner stands. What can be tested at the site comes with the day
// (itm/doors/day_beginning.py); the server prepares it by its own rules once the entry has come in.

import { h, caution, notice } from "./dom.js";
import { testBegun } from "./begun.js";
import { askedEntry, choiceEntry, choicesEntry, press, valueOf } from "./entering.js";

const OF_BENCH = new Set(["water_source", "glassware", "batch_volume_ml"]);
const USUAL = { batch_volume_ml: "200", correct_temperatures: "False" };
const BACK =
  "Everything opened on this visit is back in service: a test that takes it out again wants another visit.";

const isOf = (device, phase) => (test) =>
  test.device === device.key &&
  test.phase === phase &&
  test.method === "bench" &&
  test.state !== "abandoned";

/** As found comes before anything is adjusted, as left after it; each once. */
function phaseToBegin(view, device) {
  const has = (phase) => view.tests.some(isOf(device, phase));
  if (!has("as_found")) return "as_found";
  return has("as_left") ? null : "as_left";
}

export function beginningTest(field) {
  const { view } = field;
  const { beginning, visit } = view;
  if (!beginning)
    return view.may.write
      ? notice("This copy of the day is older than this page: begin a test after the next signal.")
      : null;
  if (!beginning.may) return null;
  if (visit.restored_at) return notice(BACK);
  const open = beginning.devices
    .map((device) => [device, phaseToBegin(view, device)])
    .filter(([device, phase]) => phase && device.points.length);
  if (!open.length) return null;
  return h(
    "details",
    { id: "begin-tests" },
    h("summary", "Begin another test here"),
    open.map(([device, phase]) => beginAt(field, device, phase)),
    h(
      "p",
      h(
        "small",
        "With a bench. A test by a direct method, or with a liquid in place of concentrate, is prepared on the page of the visit.",
      ),
    ),
  );
}

function beginAt(field, device, phase) {
  const { view } = field;
  const { labels } = view.beginning;
  const named = `${device.tag}, ${labels.phase.find(([one]) => one === phase)[1]}`;
  return h(
    "details",
    { id: `begin-${device.key}-${phase}` },
    h("summary", named),
    h("p", `${device.system}, ${device.kind}, ${device.nominal_percent} %, from ${device.tank}.`),
    caution(view.cautions.prepare),
    form(field, device, phase, named),
  );
}

const wordsOfBench = ({ instrument, lot }) =>
  `Shared bench: ${instrument.name} ${instrument.serial_number}${lot ? `, ${lot}` : ""}`;

function form(field, device, phase, named) {
  const { view } = field;
  const { beginning } = view;
  const at = (name) => `begin-test:${device.key}:${phase}:${name}`;
  const shared = view.benches.filter((one) => one.tank === device.tank && !one.closed);
  const bench = { key: "read_with", usual: shared.length ? `bench ${shared[0].key}` : "" };
  const readWith = valueOf(field, at(bench.key), bench.usual);
  const own = shared.find(({ key }) => readWith === `bench ${key}`);
  const lotKey = valueOf(field, at("lot"), device.lot);
  const lot = device.lots.find(({ key }) => key === lotKey) ?? device.lots[0];
  const purpose = valueOf(field, at("purpose"), "periodic");
  const rule = device.rules[purpose];
  const asked = beginning.asked.filter(
    ({ name }) =>
      name !== "purpose" &&
      !(own && OF_BENCH.has(name)) &&
      !(name === "adjusted" && phase === "as_found") &&
      !(name === "other_percent_because" && !lot.other_percent),
  );
  const all = device.points.map(({ key }) => key).join("\n");
  const redrawn = (entry) => {
    entry.querySelector("select")?.addEventListener("change", () => field.draw());
    return entry;
  };
  const begin = () => beginIt(field, { device, phase, named, at, own, lot, asked, all });
  return h(
    "div.form-narrow",
    redrawn(
      choiceEntry(field, at("purpose"), {
        label: "Purpose",
        was: "periodic",
        choices: beginning.labels.purpose,
        help: "Only a passed acceptance test sets the baseline.",
        optional: false,
      }),
    ),
    rule.problem
      ? notice(rule.problem, "warning")
      : h("p", `Limits today: ${rule.criterion}, ${inWords(rule)}.`),
    choicesEntry(field, at("flow_points"), {
      label: "Flow points to run",
      was: all,
      choices: device.points.map(({ key, name, flow_typed }) => [key, `${name}, ${flow_typed}`]),
    }),
    redrawn(
      choiceEntry(field, at(bench.key), {
        label: "Read with",
        was: bench.usual,
        choices: [
          ...shared.map((one) => [`bench ${one.key}`, wordsOfBench(one)]),
          ...(shared.length ? [] : [["", "Choose"]]),
          ...beginning.meters.map((one) => [`meter ${one.key}`, one.words]),
        ],
        help: "What it is read with decides the method. Another bench can be opened beside one that stands.",
        optional: false,
      }),
    ),
    beginning.meters.length || shared.length
      ? null
      : notice("Your organisation has no instrument that reads bottles on its list.", "warning"),
    own
      ? null
      : redrawn(
          choiceEntry(field, at("lot"), {
            label: "Lot of the standards",
            was: device.lot,
            choices: device.lots.map(({ key, words }) => [key, words]),
            help: "Standards are made from what is in the tank.",
            optional: false,
          }),
        ),
    own ? null : lot.remarks.map((text) => notice(text, "warning")),
    meterOf(beginning, readWith)?.remarks.map((text) => notice(text, "warning")),
    asked.map((one) => askedEntry(field, at(one.name), one, USUAL[one.name] ?? "")),
    h(
      "p",
      "The server prepares it by its own rules once it has it; until then its limits are those of this copy of the day.",
    ),
    h("div.do", press(`Begin the test of ${named}`, begin, { id: `begin-test-${device.key}` })),
  );
}

const inWords = ({ band, own }) => {
  const each = Object.entries(own);
  const words = ({ lower, upper }) => `${lower} to ${upper} %`;
  return each.length ? each.map(([name, one]) => `${name} ${words(one)}`).join(", ") : words(band);
};

const meterOf = (beginning, readWith) =>
  beginning.meters.find(({ key }) => readWith === `meter ${key}`);

async function beginIt(field, { device, phase, named, at, own, lot, asked, all }) {
  const { view } = field;
  const { beginning, visit } = view;
  const purpose = valueOf(field, at("purpose"), "periodic");
  const points = valueOf(field, at("flow_points"), all).split("\n").filter(Boolean);
  const meter = meterOf(beginning, valueOf(field, at("read_with")));
  const said = {};
  for (const { name } of asked) {
    const text = valueOf(field, at(name)).trim();
    if (text && text !== USUAL[name]) said[name] = text;
  }
  const problems = wrongOf({ device, phase, purpose, points, own, meter, lot, said });
  if (Object.keys(problems).length)
    return field.refuse(Object.fromEntries(Object.entries(problems).map(([n, s]) => [at(n), s])));
  const shows = await testBegun(view, {
    device,
    phase,
    purpose,
    points,
    said,
    bench: own,
    meter,
    lot,
  });
  const read = own
    ? { bench: own.key }
    : { instrument: meter.key, ...(lot.key && { lot: lot.key }) };
  const put = {
    proportioner: device.key,
    test: shows.test.key, // what is entered from now on hangs on it
    purpose,
    phase,
    flow_points: points,
    ...read,
    ...said,
  };
  const names = ["purpose", "flow_points", "read_with", "lot", ...asked.map(({ name }) => name)];
  const words = `Test of ${named} begun`;
  const kept = await field.act("begin_test", { visit: visit.key }, put, {
    words,
    shows,
    places: names.map(at),
  });
  if (kept) field.go(`#/d/${visit.key}/discharge/${shows.test.key}`);
  return kept;
}

/** What the server would certainly refuse; it looks at the whole once more. */
function wrongOf({ device, phase, purpose, points, own, meter, lot, said }) {
  const problems = {};
  const { problem } = device.rules[purpose];
  if (problem) problems.purpose = problem;
  if (!points.length) problems.flow_points = "Run at least one flow point.";
  if (!own && !meter) problems.read_with = "Choose what a new bench is read with.";
  if (phase === "as_left" && !said.adjusted)
    problems.adjusted = "As left: say which parts were adjusted or renewed.";
  if (lot.other_percent && !said.other_percent_because)
    problems.other_percent_because =
      "Concentrate and proportioner are labelled with other percents: find out which is right, or say why they may differ.";
  const compensates = own ? own.instrument.temperature_compensated : meter?.compensates;
  if (said.correct_temperatures && compensates)
    problems.correct_temperatures =
      "This instrument corrects for temperature itself; corrected once more, every reading would be wrong by as much again.";
  const batch = Number((said.batch_volume_ml ?? "200").replace(",", "."));
  if (!(batch >= 1 && batch <= 5000))
    problems.batch_volume_ml = "Write a volume in mL, from 1 to 5000, such as 200.";
  return problems;
}
