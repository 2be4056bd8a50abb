// A stopwatch for one flow point: two presses with gloves on, and the time between them is the entry
// that is otherwise typed. Its start lies on the disk, so it runs on through a reload or a flat
// battery; it goes by the clock of this device.

import { h, num } from "./dom.js";
import { press } from "./entering.js";
import { contradictions } from "./flowing.js";
import { clock, inWords } from "./words.js";

const LEAST = 2; // s, own choice: a press that comes sooner is the bounce of the one before
const LONGEST = 24 * 3600; // s, as itm/core/durations.py

const runningAt = (run) => `clock:${run.key}`;
const stoppedAt = (run) => `clocked:${run.key}`; // what a stop can be taken back to
const typedAt = (run) => `measured:${run.key}:duration`;

/** “4:03” or “1:04:03”, as a duration is typed. */
export function asTyped(span) {
  const two = (n) => String(n).padStart(2, "0");
  const [hours, minutes, seconds] = [span / 3600, (span / 60) % 60, span % 60].map(Math.floor);
  return hours ? `${hours}:${two(minutes)}:${two(seconds)}` : `${minutes}:${two(seconds)}`;
}

export function stopwatch(field, test, run) {
  const from = field.draft(runningAt(run))?.value;
  return h(
    "section.stopwatch",
    { "aria-label": `Stopwatch for ${run.name}` },
    from ? running(field, test, run, from) : atRest(field, test, run),
  );
}

function atRest(field, test, run) {
  const stopped = stoppedOf(field, test, run);
  return [
    stopped
      ? h(
          "p",
          "Stopped: ",
          num(clock(stopped.from, field.zone)),
          " to ",
          num(clock(stopped.to, field.zone)),
          `, ${inWords(stopped.span)}. Type over it where another time is right.`,
        )
      : null,
    h(
      "div.press.large",
      press("Start the time", () => start(field, run), {
        id: `clock-${run.key}`,
        kind: stopped ? ".outline" : "",
      }),
    ),
    stopped
      ? press("Take the stop back: it runs on", () => runOn(field, run, stopped), {
          kind: ".quiet",
          id: `unstop-${run.key}`,
        })
      : null,
  ];
}

function running(field, test, run, from) {
  return [
    h(
      "p",
      h("strong.runs-since.num", { "data-clock": from, role: "timer" }),
      " since ",
      num(clock(from, field.zone)),
    ),
    h(
      "div.press.large",
      press("Stop the time", () => stop(field, test, run, from), { id: `clock-${run.key}` }),
    ),
    press("Take the start back", () => takeBack(field, run), {
      kind: ".quiet",
      id: `unstart-${run.key}`,
    }),
    h("p", h("small", "It goes by the clock of this device, also while the page is closed.")),
  ];
}

/** A pressed button is drawn anew: whoever goes by keyboard stays on it. */
const stay = (run) => document.getElementById(`clock-${run.key}`)?.focus({ preventScroll: true });

async function start(field, run) {
  await field.stamp(runningAt(run), new Date().toISOString());
  stay(run);
}

async function takeBack(field, run) {
  await field.unstamp(runningAt(run));
  stay(run);
}

/** The last stop of this flow point, while its time still stands as it was stamped. */
function stoppedOf(field, test, run) {
  const value = field.draft(stoppedAt(run))?.value;
  if (!value) return null;
  const stopped = JSON.parse(value);
  return asTyped(stopped.span) === test.measured[run.key].duration ? stopped : null;
}

async function stop(field, test, run, from) {
  const to = new Date().toISOString();
  const span = Math.round((new Date(to) - new Date(from)) / 1000);
  if (span >= 0 && span < LEAST)
    return field.say("It has only just started: press once more to stop it.", "info");
  if (span < LEAST || span > LONGEST)
    return field.say(
      `By the clock of this device ${span < 0 ? "the stop lies before the start" : "it has run for more than a day"}: the clock was set meanwhile, or a stop was forgotten. Take the start back and type the time.`,
      "error",
    );
  const before = test.measured[run.key].duration ?? "";
  const put = { duration: asTyped(span) };
  const wrong = contradictions(field.view, test, run, put);
  if (Object.keys(wrong).length) {
    field.type(typedAt(run), put.duration, before); // read off, and kept as typed
    await field.unstamp(runningAt(run));
    return field.refuse(
      Object.fromEntries(Object.entries(wrong).map(([n, s]) => [`measured:${run.key}:${n}`, s])),
    );
  }
  const stamped = JSON.stringify({ from, to, span, before });
  if (!(await field.stamp(stoppedAt(run), stamped))) return null;
  await field.act("note_measured", { run: run.key }, put, {
    words: `Time at ${run.name}, ${inWords(span)}`,
    opened: { duration: before },
    places: [runningAt(run), typedAt(run)],
  });
  return stay(run);
}

/** Pressed too early: the same start counts on, and the time from before stands again. */
async function runOn(field, run, { from, span, before }) {
  if (!(await field.stamp(runningAt(run), from))) return;
  await field.act(
    "note_measured",
    { run: run.key },
    { duration: before },
    {
      words: `Stop at ${run.name} taken back`,
      opened: { duration: asTyped(span) },
      places: [stoppedAt(run)],
    },
  );
  stay(run);
}
