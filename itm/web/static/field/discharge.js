// Discharge: for each flow point the clock with its large buttons, and what was measured.

import { h, caution, empty, notice, num, onlyHere } from "./dom.js";
import { isDirect, samplesOf } from "./day.js";
import { DISCHARGE } from "./direct.js";
import { changes, choiceEntry, press, quantityEntry, textEntry, valueOf } from "./entering.js";
import { quantity } from "./flow.js";
import { nextLabel } from "./labels.js";
import { orderRemarks } from "./ordering.js";
import { keptOutlets, pitotPart } from "./pitot.js";
import { figureRemarks, impossible } from "./plausible.js";
import { leftOf } from "./points.js";
import { clock, seconds } from "./words.js";

// Common practice, no published source: how long a mixture takes to settle, how many samples tell
// whether it has. The server says the same of what it takes (itm/records/remarks.py).
const SETTLING = 30;
const WANTED = 3;
const TWICE = 3_000; // ms in which a second press of "Sample taken" is asked about

export const NAMES = [
  "inlet_pressure",
  "solution_flow",
  "flow_source",
  "level_before",
  "level_after",
];

const TWO_BOTTLES =
  "From the outlet before concentrate flows also fill a bottle of test water, and from the tank, where the proportioner draws, a bottle of concentrate. The bench stands on those two.";
const NO_BOTTLE =
  "This test reads no bottle: its flows and levels are read while it flows, and written under Measure. A flow of solution by meter, or by pitot at outlets, can be noted here.";

export function dischargeScreen(field, test) {
  const { view } = field;
  const writes = view.may.write && !test.closed;
  return [
    h("h1", `Discharge, ${test.tag}`),
    test.closed ? notice(test.closed) : null,
    writes && !view.visit.started_at ? notStarted(view) : null,
    writes ? caution(view.cautions.discharge) : null,
    writes ? h("p", isDirect(test) ? NO_BOTTLE : TWO_BOTTLES) : null,
    test.runs.length
      ? h(
          "div.runs",
          test.runs.map((run) => card(field, test, run, writes)),
        )
      : empty("No flow point is prepared for this test."),
    writes ? leftOut(field, test) : null,
    writes
      ? h(
          "p.do",
          h(
            "a",
            {
              role: "button",
              href: `#/d/${view.visit.key}/${isDirect(test) ? "measure" : "stop"}/${test.key}`,
            },
            isDirect(test) ? "Measure" : "Stop and flush",
          ),
        )
      : null,
  ];
}

/** A flow point that was left out as the test was prepared. */
function leftOut(field, test) {
  const left = leftOf(test);
  if (!left.length) return null;
  return h(
    "details",
    { id: "left-out" },
    h("summary", "Run a flow point that was left out"),
    left.map((point) =>
      h(
        "div.do",
        press(
          `Run ${point.name}, ${point.flow_typed}`,
          () =>
            field.act(
              "add_run",
              { test: test.key },
              { flow_point: point.flow_point },
              { words: `${point.name} is run after all` },
            ),
          { kind: ".outline", id: `run-${point.flow_point}` },
        ),
      ),
    ),
  );
}

export function notStarted(view) {
  return [
    notice(
      "The test day has not been started. Start it when the first valve is moved; then foam and samples can be stamped.",
      "warning",
    ),
    h("p.do", h("a", { role: "button", href: `#/d/${view.visit.key}` }, "Start the test day")),
  ];
}

function card(field, test, run, writes) {
  const { view, zone } = field;
  const samples = samplesOf(view, run);
  const pressed = writes && Boolean(view.visit.started_at);
  return h(
    "section.run",
    { "aria-labelledby": `head-${run.key}` },
    h(
      "h2",
      { id: `head-${run.key}` },
      `${run.name} `,
      h("small.num", run.flow_typed),
      " ",
      onlyHere(run.pending),
    ),
    run.foam_seen_at
      ? h(
          "p.foam",
          "Foam seen ",
          num(clock(run.foam_seen_at, zone)),
          " ",
          writes
            ? h("span.num.since", { "data-since": run.foam_seen_at, "data-settled": SETTLING })
            : null,
        )
      : h("p.foam", "Foam not seen yet"),
    pressed ? stamps(field, test, run, samples) : null,
    samples.length
      ? h(
          "ul.samples.plain",
          samples.map((bottle) => sample(field, run, bottle, writes)),
        )
      : null,
    withdrawn(field, run, writes),
    remarks(test, run, samples).map((text) => notice(text)),
    figureRemarks(run, view.units).map((text) => notice(text, "warning")),
    orderRemarks(view, test, run, samples, zone).map((text) => notice(text, "warning")),
    writes ? measured(field, test, run) : facts(run),
  );
}

function stamps(field, test, run, samples) {
  const seen = Boolean(run.foam_seen_at);
  const took = () => {
    const last = samples.at(-1);
    const label = nextLabel(field.view, run);
    if (last?.pending && Date.now() - new Date(last.taken_at) < TWICE) {
      return field.say(
        `${last.label} was stamped a moment ago. Press once more in a few seconds if this is another bottle.`,
        "warning",
      );
    }
    return field.act("add_sample", { run: run.key }, { label }, { words: `Sample ${label} taken` });
  };
  return [
    h(
      "div.press.large",
      seen
        ? null
        : press(
            "Foam seen",
            () => field.act("foam_seen", { run: run.key }, {}, { words: `Foam seen, ${run.name}` }),
            { id: `foam-${run.key}` },
          ),
      isDirect(test)
        ? null
        : press("Sample taken", took, { kind: seen ? "" : ".outline", id: `sample-${run.key}` }),
    ),
    seen
      ? press(
          "Foam was not seen yet: take back",
          () =>
            field.act(
              "take_back_foam",
              { run: run.key },
              {},
              {
                words: `Foam taken back, ${run.name}`,
                opened: { foam_seen_at: run.foam_seen_at },
              },
            ),
          { kind: ".quiet", id: `unfoam-${run.key}` },
        )
      : null,
  ];
}

function sample(field, run, bottle, writes) {
  const waited = run.foam_seen_at ? seconds(run.foam_seen_at, bottle.taken_at) : null;
  return h(
    "li",
    { id: `bottle-${bottle.key}` },
    h("span", "Write on the bottle: ", h("strong", bottle.label)),
    " ",
    num(clock(bottle.taken_at, field.zone)),
    waited === null ? "" : [", ", num(`${waited} s`), " after foam"],
    " ",
    onlyHere(bottle.pending),
    notice(tooEarly(waited), "warning"),
    writes && !bottle.readings.length ? withdrawing(field, bottle) : null,
  );
}

function tooEarly(waited) {
  if (waited === null)
    return "Foam has not been noted: nobody can tell how long the mixture had to settle.";
  if (waited < 0)
    return "Caught before foam was noted: what is in it is water, or last time's solution.";
  if (waited < SETTLING)
    return `Caught ${waited} s after foam was noted: under ${SETTLING} s it may be lean or old solution (common practice; long pipes need longer).`;
  return "";
}

function withdrawing(field, bottle) {
  const place = `withdraw:${bottle.key}`;
  const gone = () => {
    const reason = valueOf(field, place, "Stamped by mistake").trim();
    if (!reason) return field.refuse({ [place]: "Say why the sample is withdrawn." });
    return field.act(
      "withdraw_sample",
      { bottle: bottle.key },
      { reason },
      { words: `${bottle.label} withdrawn`, places: [place] },
    );
  };
  return h(
    "details",
    { id: `out-${bottle.key}` },
    h("summary", `Withdraw ${bottle.label}`),
    textEntry(field, place, {
      label: "Why it is withdrawn",
      was: "Stamped by mistake",
      optional: false,
      maxlength: 200,
      hint: field.view.usual.withdraw,
    }),
    press("Withdraw it", gone, { kind: ".outline", id: `withdraw-${bottle.key}` }),
  );
}

function withdrawn(field, run, writes) {
  const out = field.view.benches
    .flatMap((bench) => bench.bottles)
    .filter((one) => one.run === run.key && one.withdrawn_reason);
  return out.map((bottle) =>
    h(
      "div.withdrawn",
      h("span", h("s", bottle.label), ` withdrawn: ${bottle.withdrawn_reason}`),
      writes
        ? press(
            `Bring back ${bottle.label}`,
            () =>
              field.act(
                "bring_back_sample",
                { bottle: bottle.key },
                {},
                {
                  words: `${bottle.label} brought back`,
                  opened: { withdrawn_reason: bottle.withdrawn_reason },
                },
              ),
            { kind: ".quiet", id: `back-${bottle.key}` },
          )
        : null,
    ),
  );
}

function remarks(test, run, samples) {
  const missing = isDirect(test) ? 0 : WANTED - samples.length;
  const own =
    run.flow_source === "nameplate"
      ? [
          "A flow from the nameplate was not measured: it is no evidence that this flow point was reached.",
        ]
      : [];
  return missing > 0
    ? [
        ...own,
        `At least ${WANTED} samples, 15 to 30 s apart, show whether the mixture was steady (common practice): ${missing} to go.`,
      ]
    : own;
}

function facts(run) {
  const rows = [
    ["Inlet pressure", run.inlet_pressure],
    ["Solution flow", run.solution_flow],
    ["In the tank before", run.level_before],
    ["In the tank after", run.level_after],
  ];
  return h(
    "dl.facts",
    rows.map(([label, text]) => [h("dt", label), h("dd.num", text || "not noted")]),
  );
}

function measured(field, test, run) {
  const { units, flow_sources: sources } = field.view;
  const prefix = `run:${run.key}`;
  const entry = (name, label, kind, help) =>
    quantityEntry(field, `${prefix}:${name}`, {
      label,
      was: run[name],
      units: units[kind],
      kind,
      help,
    });
  return h(
    "div.measures",
    h("h3", "Measured"),
    entry("inlet_pressure", "Inlet pressure", "pressure", "At the proportioner, while it flows"),
    byMeters(test, run)
      ? h(
          "p",
          "Solution flow, as the meters under Measure give it: ",
          num(run.solution_flow || "not read yet"),
        )
      : run.outlets?.length
        ? keptOutlets(field, run)
        : [
            entry("solution_flow", "Solution flow", "flow"),
            choiceEntry(field, `${prefix}:flow_source`, {
              label: "Flow taken from",
              was: run.flow_source,
              choices: [["", "Not measured yet"], ...sources],
            }),
            pitotPart(field, run),
          ],
    entry("level_before", "In the tank before", "volume"),
    entry("level_after", "In the tank after", "volume"),
    press("Keep what was measured", () => keepMeasured(field, run), {
      kind: ".outline",
      id: `keep-${run.key}`,
    }),
  );
}

/** The second meter of a direct test is read on its own screen, and nobody types a flow twice. */
const byMeters = (test, run) => isDirect(test) && test.measured[run.key].second_read !== DISCHARGE;

async function keepMeasured(field, run) {
  const { units } = field.view;
  const prefix = `run:${run.key}`;
  const { put, opened, places } = changes(field, prefix, run, NAMES);
  if (!Object.keys(put).length)
    return field.say("Nothing was changed, so nothing was kept.", "info");
  const problems = {};
  const kinds = {
    inlet_pressure: "pressure",
    solution_flow: "flow",
    level_before: "volume",
    level_after: "volume",
  };
  for (const [name, kind] of Object.entries(kinds)) {
    const read = quantity(put[name] ?? "", units[kind], "This value");
    const wrong =
      read.problem ??
      (name === "solution_flow" && read.si !== undefined && read.si <= 0
        ? "A flow is above 0."
        : null) ??
      (read.si < 0 ? "This is not negative." : null) ??
      impossible(name, read.si);
    if (wrong) problems[`${prefix}:${name}`] = wrong;
  }
  const flow = put.solution_flow ?? run.solution_flow;
  const source = put.flow_source ?? run.flow_source;
  if (flow && !source)
    problems[`${prefix}:flow_source`] =
      "Say where the flow comes from: a meter, a pitot, or only the nameplate.";
  if (Object.keys(problems).length) return field.refuse(problems);
  return field.act("note_run", { run: run.key }, put, {
    words: `Measured at ${run.name}`,
    opened,
    places,
  });
}
