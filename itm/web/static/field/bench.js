// The bench: recipe, volumes as really poured, readings as the display shows them.

import { h, caution, empty, notice } from "./dom.js";
import { oneMore, pours, settingOut } from "./pours.js";
import { percentIn } from "./weighing.js";
import { questions } from "./readings.js";
import { readingLine, scaleOf } from "./reading_line.js";
import { conditions } from "./conditions.js";
import { soFar } from "./result.js";

const LAST =
  "Water once more shows whether meter or temperature moved while you read. The concentrate comes last: wash the prism or cell twice after it.";

export function benchScreen(field, test) {
  const { view } = field;
  const bench = view.benches.find((one) => one.key === test.bench);
  const { instrument } = bench;
  const writes = view.may.write && !test.closed;
  const shared = writes && !bench.closed;
  const asked = questions(bench, percentIn(view, bench));
  const inUse = bench.bottles.filter((one) => one.set_out && !one.withdrawn_reason);
  const of = (...roles) => inUse.filter((one) => roles.includes(one.role));
  const standards = of("standard").sort(
    (a, b) => Number(a.target_percent) - Number(b.target_percent),
  );
  const lines = (bottles, open) =>
    bottles.map((bottle) => readingLine(field, bench, bottle, open, asked));
  return [
    h("h1", `Bench of ${test.tag}, ${test.phase_label}`),
    h(
      "p.lead",
      `${instrument.name} ${instrument.serial_number} · ${scaleOf(bench)} · step ${instrument.steps_in_words ?? bench.fields.value.step}${bench.lot ? ` · standards from ${bench.lot}` : ""}${bench.water_source ? ` · water: ${bench.water_source}` : ""}`,
    ),
    bench.remarks.map((text) => notice(text, "warning")),
    test.closed || bench.closed ? notice(test.closed || bench.closed) : null,
    writes ? caution(view.cautions.bench) : null,
    bench.bottles.some((one) => !one.set_out) && shared ? settingOut(field, test) : null,
    standards.length ? pours(field, bench, standards, shared) : null,
    shared ? oneMore(field, test) : null,
    shared && bench.asked ? conditions(field, test, bench) : null,
    h("h2", "Water and standards"),
    writes
      ? h(
          "p",
          `${scaleOf(bench)}: type what it shows, all its digits, ${bench.fields.value.range}; temperature ${bench.fields.temperature.range}.`,
        )
      : null,
    inUse.length
      ? lines([...of("water"), ...standards], shared)
      : empty("No bottle stands on this bench yet."),
    test.runs.map((run) => {
      const samples = of("sample").filter((one) => one.run === run.key);
      return [
        h("h2", `Samples, ${run.name} `, h("small.num", run.flow_typed)),
        samples.length
          ? lines(samples, writes)
          : h("p", "No sample was stamped at this flow point yet."),
      ];
    }),
    h("h2", "At the end"),
    shared ? h("p", h("small", LAST)) : null,
    lines(of("water_again", "system_water", "concentrate"), shared),
    soFar(view, test),
    h(
      "p.do",
      h("a", { role: "button", href: `#/d/${view.visit.key}/result/${test.key}` }, "To the result"),
    ),
  ];
}
