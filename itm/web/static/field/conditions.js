// What is asked of a bench beside its readings. Words and choices come with the day; nothing is
// judged here.

import { h } from "./dom.js";
import { askedEntry, changes, press } from "./entering.js";

export function conditions(field, test, bench) {
  const prefix = `bench:${bench.key}`;
  const names = bench.asked.map(({ name }) => name);
  const keep = () => {
    const { put, opened, places } = changes(field, prefix, bench, names);
    if (!Object.keys(put).length)
      return field.say("Nothing was changed, so nothing was kept.", "info");
    return field.act("note_bench", { test: test.key }, put, {
      words: "How the bench was read",
      opened,
      places,
    });
  };
  return h(
    "details",
    { id: "conditions" },
    h("summary", "How the bench is read"),
    h(
      "div.form-narrow",
      bench.asked.map((one) => askedEntry(field, `${prefix}:${one.name}`, one, bench[one.name])),
      h("div.do", press("Keep", keep, { id: "keep-conditions" })),
    ),
  );
}
