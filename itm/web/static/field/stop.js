// Stop and flush, in the order of the maker's manual, with the words for the radio: each step is
// read out, answered, and only then pressed.

import { h, caution, empty, notice, num, onlyHere } from "./dom.js";
import { notStarted } from "./discharge.js";
import { press } from "./entering.js";
import { clock } from "./words.js";

export function stopScreen(field, test) {
  const { view } = field;
  const writes = view.may.write && !test.closed;
  const presses = writes && Boolean(view.visit.started_at);
  const next = test.flush.findIndex((step) => !step.done_at);
  const last = next === -1 ? test.flush.length - 1 : next - 1;
  return [
    h("h1", `Stop and flush, ${test.tag}`),
    h(
      "p.lead",
      "In this order, one after the other. Read each step out; press it when the answer has come back.",
    ),
    test.closed ? notice(test.closed) : null,
    writes && !presses ? notStarted(view) : null,
    writes ? caution(view.cautions.stop) : null,
    presses && next >= 0 ? spoken(field, test, next) : null,
    test.flush.length ? null : empty("This test has no steps to stop and flush."),
    h(
      "ol.order",
      test.flush.map((step, i) =>
        line(field, step, { next: i === next, last: presses && i === last }),
      ),
    ),
    presses && next === -1 && test.flush.length ? h("p", h("strong", "Every step is done.")) : null,
    h(
      "p.do",
      h(
        "a",
        {
          role: "button",
          class: next === -1 ? undefined : "outline",
          href: `#/d/${view.visit.key}/restore`,
        },
        "Restore",
      ),
    ),
  ];
}

/** What to say, and the press that follows the answer. */
function spoken(field, test, at) {
  const step = test.flush[at];
  const after = test.flush[at + 1];
  return h(
    "section.spoken",
    { "aria-labelledby": "spoken" },
    h("h2", { id: "spoken" }, `Step ${at + 1} of ${test.flush.length}`),
    h("p.radio", `“${test.tag}, step ${at + 1}: ${step.text}. Answer: done, or not done.”`),
    press(
      `Answered: done`,
      () => field.act("flush_done", { step: step.key }, {}, { words: `Done: ${step.text}` }),
      { id: "flush-done" },
    ),
    h("p", h("small", after ? `After it: ${after.text}.` : "This is the last step.")),
  );
}

function line(field, step, { next, last }) {
  const kind = step.done_at ? "done" : next ? "next" : "todo";
  return h(
    `li.${kind}`,
    { "aria-current": next && "step" },
    h(
      "div",
      h("span", step.text),
      step.done_at
        ? h(
            "small",
            "done ",
            num(clock(step.done_at, field.zone)),
            `, ${step.done_by} `,
            onlyHere(step.pending),
          )
        : null,
    ),
    last
      ? press(
          "Take back",
          () =>
            field.act(
              "flush_undone",
              { step: step.key },
              {},
              { words: `Taken back: ${step.text}`, opened: { done_at: step.done_at } },
            ),
          { kind: ".quiet", id: `undo-${step.key}` },
        )
      : null,
  );
}
