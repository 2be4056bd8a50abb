// What this device can say on the spot, and the hand-in. Limits by the plain value alone: how sure
// that is comes from the server.

import { h, limits, notice, num } from "./dom.js";
import { inForce, isDirect, samplesOf } from "./day.js";
import { directSoFar, lackOf } from "./direct.js";
import { stillDue } from "./inspect.js";
import { bandsOf, formOf, physicsOf, preliminary, shown } from "./line.js";
import { changes, press, textEntry } from "./entering.js";
import { isMade } from "./weighing.js";
import { count, day, forEntry } from "./words.js";

const PRELIMINARY =
  "Preliminary: the plain value, by the ordinary line or by its direct method, worked out on this device. Interval and certainty come from the server, and a qualified person decides.";

export function soFar(view, test) {
  const bands = bandsOf(test);
  const found = isDirect(test)
    ? directSoFar(view, test)
    : preliminary(formOf(view, test), bands, ...physicsOf(view, test));
  const band = (name) => bands[name] ?? bands[""];
  return h(
    "section.so-far",
    { "aria-labelledby": "so-far" },
    h("h2", { id: "so-far" }, "So far, preliminary"),
    found.flow_points
      ? [
          h(
            "div.answers",
            found.flow_points.map((point) =>
              h(
                "article.answer",
                h("h3", point.name),
                answer(point, band(point.name)),
                found.samples
                  ? h(
                      "ul.plain",
                      found.samples
                        .filter((one) => sampleOf(test, view, one.name) === point.name)
                        .map((one) =>
                          h("li", one.name, ": ", num(`${shown(one.percent, band(point.name))} %`)),
                        ),
                    )
                  : null,
              ),
            ),
          ),
          h("p", h("small", PRELIMINARY)),
        ]
      : h("p", found.problem),
  );
}

/** Percent and limits of one flow point, or why it has none. */
export function answer(point, band) {
  if (point.problem) return notice(point.problem, "warning");
  return [
    h("p.figure-read", h("span.num.big", shown(point.percent, band)), " %"),
    h("p", limits(point.limits), h("small", ` of ${band.lower} to ${band.upper} %`)),
  ];
}

function sampleOf(test, view, label) {
  return test.runs.find((run) => samplesOf(view, run).some((one) => one.label === label))?.name;
}

export function resultScreen(field, test) {
  const { view } = field;
  const left = missing(view, test);
  const writes = view.may.hand_in && !test.closed;
  const others = field.entries.filter(
    (one) => one.visit === view.visit.key && one.state !== "taken",
  );
  return [
    h("h1", `Result of ${test.tag}, ${test.phase_label}`),
    soFar(view, test),
    h("h2", "Hand in"),
    test.closed ? notice(test.closed) : null,
    test.handing_in
      ? notice(
          "Handed in on this device. It reaches the server with the next signal; only then it is handed in, and the server may ask for more.",
        )
      : null,
    writes && !test.handing_in ? [noting(field, test), stillDue(view), elsewhere(view)] : null,
    writes && left.length
      ? [
          h("p", "Before this test can be handed in:"),
          h(
            "ul",
            left.map(([words, to]) =>
              h("li", h("a", { href: `#/d/${view.visit.key}/${to}` }, words)),
            ),
          ),
        ]
      : null,
    writes && !left.length && !test.handing_in
      ? [
          others.length
            ? h(
                "p",
                `It goes after the ${count(others.length, "other entry", "other entries")} of this day that ${others.length === 1 ? "waits" : "wait"}.`,
              )
            : null,
          h(
            "div.do",
            press(
              "Hand in",
              () =>
                field.act(
                  "hand_in",
                  { test: test.key },
                  {},
                  { words: `Hand in ${test.tag}, ${test.phase_label}` },
                ),
              { id: "hand-in" },
            ),
          ),
        ]
      : null,
    h(
      "p.do",
      h("a", { href: `/tests/${test.key}/` }, "Result with interval and certainty (needs signal)"),
    ),
  ];
}

/** What was said of other devices when the day was last fetched. */
export const elsewhere = (view) => (view.other_devices ?? []).map((said) => notice(said, "warning"));

/** What certainly stands in the way; the server looks at the whole record once more. */
function missing(view, test) {
  const out = [];
  const at = (name) => `${name}/${test.key}`;
  if (!view.visit.started_at) out.push(["The test day was not started", ""]);
  if (test.phase === "as_left" && !(test.adjusted ?? "").trim())
    out.push(["An as-left result names the parts that were adjusted", at("result")]);
  for (const run of test.runs) {
    if (!run.solution_flow || !run.flow_source)
      out.push([`${run.name} has no solution flow with its source`, at("discharge")]);
  }
  out.push(...(isDirect(test) ? missingDirect(view, test) : missingBench(view, test)));
  const steps = test.flush.filter((step) => !step.done_at);
  if (steps.length)
    out.push([`Stop and flush has ${count(steps.length, "open step")}`, at("stop")]);
  const open = view.restoration.filter((line) => line.tag === test.tag && !line.outcome);
  if (open.length) out.push([`${count(open.length, "restoration line")} open`, "restore"]);
  return out;
}

function missingBench(view, test) {
  const out = [];
  const at = `bench/${test.key}`;
  const bench = view.benches.find((one) => one.key === test.bench);
  if (bench.compensation === "mixed")
    out.push([
      "Temperature compensation was on for some bottles and off for others: set it once, read every bottle again, set the old readings aside, and say so on the bench",
      at,
    ]);
  const dated = outOfDate(view, test, bench);
  if (dated) out.push([dated, at]);
  for (const run of test.runs) {
    if (!samplesOf(view, run).some((one) => inForce(one).length))
      out.push([`${run.name} has no sample with a reading in force`, at]);
  }
  const inUse = bench.bottles.filter((one) => one.set_out && !one.withdrawn_reason);
  if (!inUse.some((one) => one.role === "water" && inForce(one).length))
    out.push(["The test water has no reading in force", at]);
  for (const one of inUse.filter(({ role }) => role === "standard")) {
    if (!one.readings.length) out.push([`Standard ${one.label} was not read`, at]);
    else if (inForce(one).length && !isMade(one))
      out.push([`Standard ${one.label} has no volumes or masses as made`, at]);
  }
  return out;
}

/** The owner's own rule, asked of each day on which the bench was read. */
function outOfDate(view, test, bench) {
  if (!bench.certificate_needed) return "";
  const own = new Set(test.runs.map((run) => run.key));
  const read = bench.bottles
    .filter((one) => !one.run || own.has(one.run))
    .flatMap(inForce)
    .map((one) => forEntry(one.read_at, view.visit.site.time_zone).slice(0, 10));
  for (const on of [...new Set(read)].sort()) {
    const proof = bench.certificates.filter((one) => one.issued_on <= on).at(-1);
    if (proof && !(proof.due_on && proof.due_on < on)) continue;
    const why = proof
      ? `the certificate ${proof.words} ran out on ${day(proof.due_on)}`
      : `${bench.instrument.name} ${bench.instrument.serial_number} has no certificate on record`;
    return `The owner takes no result read with an instrument out of date, and ${why}; the bench was read on ${day(on)}`;
  }
  return "";
}

/** What of a prepared test is not frozen; of an as-left one the parts that were adjusted. A copy of
 * the day from before this page knew it asks nothing. */
function noting(field, test) {
  const { asked } = test;
  if (!asked) return null;
  const prefix = `test:${test.key}`;
  const keep = () => {
    const names = asked.map(({ name }) => name);
    const { put, opened, places } = changes(field, prefix, test, names);
    if (!Object.keys(put).length)
      return field.say("Nothing was changed, so nothing was kept.", "info");
    return field.act("note_test", { test: test.key }, put, {
      words: `Of ${test.tag}, ${test.phase_label}`,
      opened,
      places,
    });
  };
  const needed = test.phase === "as_left" && !test.adjusted;
  return h(
    "details",
    { id: "note-test", open: needed },
    h("summary", test.phase === "as_left" ? "Parts adjusted, and notes" : "Notes on this test"),
    h(
      "div.form-narrow",
      asked.map((one) =>
        textEntry(field, `${prefix}:${one.name}`, {
          label: one.label,
          help: one.help,
          was: test[one.name] ?? "",
          maxlength: one.longest ?? undefined,
          long: true,
        }),
      ),
      h("div.do", press("Keep", keep, { id: "keep-test" })),
    ),
  );
}

function missingDirect(view, test) {
  const at = `measure/${test.key}`;
  return lackOf(view, test).map((words) => [words, at]);
}
