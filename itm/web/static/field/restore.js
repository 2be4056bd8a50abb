// Restore: each line ends truthfully, or stays open where everybody sees it.

import { h, caution, empty, notice, num, onlyHere } from "./dom.js";
import { isDirect, stillOut, testsOf } from "./day.js";
import { press, textEntry, valueOf } from "./entering.js";
import { notStarted } from "./discharge.js";
import { photosOf, photoPart } from "./photos.js";
import { pastInstant } from "./visit.js";
import { count, instant } from "./words.js";

export function restoreScreen(field) {
  const { view } = field;
  const { visit, restoration: lines } = view;
  const open = lines.filter((line) => !line.outcome);
  const out = lines.filter(stillOut);
  const writes = view.may.write && Boolean(visit.started_at);
  const devices = [...new Set(lines.map((line) => line.tag))];
  return [
    h("h1", "Restore"),
    h("p.lead", stands(visit, open, out)),
    view.may.write && !visit.started_at ? notStarted(view) : null,
    writes && !visit.restored_at ? caution(view.cautions.restore) : null,
    lines.length
      ? null
      : empty("Nothing to put back yet: the list comes with the first test that is prepared."),
    devices.map((tag) =>
      h(
        "section",
        { "aria-label": tag },
        h("h2", tag),
        h(
          "ol.order",
          lines.filter((line) => line.tag === tag).map((line) => row(field, line, writes)),
        ),
      ),
    ),
    testsOf(view)
      .filter((test) => !test.closed)
      .map((test) =>
        h(
          "p.do",
          h(
            "a",
            {
              role: "button",
              class: open.length ? "outline" : undefined,
              href: `#/d/${visit.key}/${isDirect(test) ? "result" : "bench"}/${test.key}`,
            },
            `${isDirect(test) ? "Result" : "Bench"}: ${test.tag}, ${test.phase_label}`,
          ),
        ),
      ),
  ];
}

function stands(visit, open, out) {
  if (!visit.started_at) return "The test day has not been started; nothing is out of place.";
  if (visit.restored_at) return "Back in service: the last line has ended.";
  const left = out.length ? `, ${out.length} left out of service` : "";
  return `Out of service: ${count(open.length, "line")} open${left}. The impairment ends by itself with the last line.`;
}

function row(field, line, writes) {
  const kind = !line.outcome ? "next" : stillOut(line) ? "out" : "done";
  return h(
    `li.${kind}`,
    { id: `line-${line.key}` },
    h(
      "div",
      h("span", line.text),
      line.outcome ? ended(field, line) : null,
      photosOf(field, { line: line.key }),
    ),
    writes ? (line.outcome ? mend(field, line) : endings(field, line)) : null,
  );
}

const SAID = { restored: "Restored", not_fitted: "Not fitted" };
const ENDED = { restored: "restored", not_fitted: "not fitted", left_out: "left out of service" };

function ended(field, line) {
  return h(
    "small",
    h("strong", line.follows ? "put back" : ENDED[line.outcome]),
    " ",
    num(instant(line.ended_at, field.zone)),
    `, ${line.ended_by}`,
    line.reason ? `: ${line.reason}` : "",
    line.handed_to
      ? [
          `; handed over in writing to ${line.handed_to}, `,
          num(instant(line.handed_at, field.zone)),
        ]
      : null,
    " ",
    onlyHere(line.pending),
  );
}

function endings(field, line) {
  const end = (outcome) =>
    field.act(
      "end_line",
      { line: line.key },
      { outcome },
      { words: `${SAID[outcome]}: ${line.text}` },
    );
  return h(
    "div.endings",
    h(
      "div.press",
      press("Restored", () => end("restored"), { id: `restored-${line.key}` }),
      line.follows
        ? null
        : press("Not fitted", () => end("not_fitted"), {
            kind: ".outline",
            id: `absent-${line.key}`,
          }),
    ),
    line.follows ? null : leavingOut(field, line),
    photoPart(field, { line: line.key }, `Photo of ${line.text}`),
  );
}

function leavingOut(field, line) {
  const [why, whom, when] = ["reason", "handed_to", "handed_at"].map(
    (name) => `line:${line.key}:${name}`,
  );
  const leave = () => {
    const put = {
      outcome: "left_out",
      reason: valueOf(field, why).trim(),
      handed_to: valueOf(field, whom).trim(),
    };
    const problems = {};
    if (!put.reason) problems[why] = "Say why it stays out of service.";
    if (!put.handed_to)
      problems[whom] =
        "Say to whom this was handed over in writing: somebody has to know that the system will not work.";
    put.handed_at = pastInstant(field, when, problems) ?? new Date().toISOString();
    if (Object.keys(problems).length) return field.refuse(problems);
    return field.act("end_line", { line: line.key }, put, {
      words: `Left out of service: ${line.text}`,
      places: [why, whom, when],
    });
  };
  return h(
    "details",
    { id: `leave-${line.key}` },
    h("summary", "Leave out of service …"),
    h(
      "p",
      "The impairment stays open, for owner and authority to see, until the line is put back.",
    ),
    textEntry(field, why, {
      label: "Why it stays out of service",
      optional: false,
      maxlength: 300,
    }),
    textEntry(field, whom, {
      label: "Handed over in writing to",
      optional: false,
      maxlength: 120,
      help: "Name and post of the person who now knows.",
    }),
    textEntry(field, when, {
      label: "Handed over at",
      type: "datetime-local",
      help: "Leave empty for now.",
    }),
    press("It stays out of service", leave, { kind: ".outline", id: `left-${line.key}` }),
  );
}

function mend(field, line) {
  return h(
    "div.press",
    stillOut(line)
      ? press(
          "Put back now",
          () => field.act("put_back", { line: line.key }, {}, { words: `Put back: ${line.text}` }),
          { id: `putback-${line.key}` },
        )
      : null,
    line.reopens
      ? press(
          "Reopen",
          () =>
            field.act(
              "reopen_line",
              { line: line.key },
              {},
              {
                words: `Open again: ${line.text}`,
                opened: { outcome: line.outcome, ended_at: line.ended_at },
              },
            ),
          { kind: ".quiet", id: `reopen-${line.key}` },
        )
      : null,
  );
}
