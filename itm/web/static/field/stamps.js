// A stamp that cannot be right: the server says when it was by its own clock, and a person takes that
// or writes what was right, for this entry alone or for all that the same clock stamped.

import { h } from "./dom.js";
import { press, textEntry, valueOf } from "./entering.js";
import { siteOf } from "./sides.js";
import { count, forEntry, fromEntry, instant } from "./words.js";

// What one wrong clock stamped lies within a day and a half: the longest test day, and a night.
const ONE_CLOCK = 129_600_000;
const SAME_MOMENT = 60_000; // ms; two that are kept at once may change places

export const hasStamp = (one) => one.state === "refused" && Boolean(one.now?.at);

const placeOf = (one) => `waiting:${one.key}:at`;
const zoneOf = (field, one) => siteOf(field, one.visit)?.time_zone ?? "UTC";

/** The moment as it stands in the entry; null where that is none. */
function chosen(field, one) {
  const zone = zoneOf(field, one);
  const was = forEntry(one.now.at, zone);
  const typed = valueOf(field, placeOf(one), was);
  return typed === was ? one.now.at : fromEntry(typed, zone);
}

/** What the same clock stamped of the same day, this one among it: what is refused for the same reason,
 * and of a clock that nothing came in by also what waits and was kept before or after it with no step
 * back in time between, which shows that the clock was put right. */
export function alike(one, rows) {
  const near = (row) => Math.abs(new Date(row.at) - new Date(one.at)) <= ONE_CLOCK;
  const ofDay = rows.filter((row) => row.visit === one.visit && near(row));
  const same = (row) => row.key === one.key || (hasStamp(row) && row.code === one.code);
  const waits = new Set(one.code === "before_start" ? [] : inOneRun(one, ofDay));
  return ofDay.filter((row) => same(row) || (row.state === "waiting" && waits.has(row)));
}

function inOneRun(one, rows) {
  const kept = rows.filter(({ n }) => n !== undefined).sort((a, b) => a.n - b.n);
  const here = kept.findIndex(({ key }) => key === one.key);
  if (here < 0) return [];
  const steps = (n) => new Date(kept[n].at) - new Date(kept[n - 1].at) < -SAME_MOMENT;
  let [first, last] = [here, here];
  while (first > 0 && !steps(first)) first -= 1;
  while (last < kept.length - 1 && !steps(last + 1)) last += 1;
  return kept.slice(first, last + 1);
}

// Days that the device took from its clock, as it stamped the entry; any other a person wrote.
const DAYS = ["done_on", "checked_on"];
const dayAt = (at, zone) => forEntry(at, zone).slice(0, 10);

/** A file has no texts of its own that a clock wrote. */
function datedAnew({ put, at }, to, zone) {
  const days = DAYS.filter((name) => put?.[name] && put[name] === dayAt(at, zone));
  return days.length
    ? { put: { ...put, ...Object.fromEntries(days.map((name) => [name, dayAt(to, zone)])) } }
    : {};
}

export const moved = (row, by, zone, to = new Date(new Date(row.at).getTime() + by).toISOString()) => ({
  ...row,
  ...datedAnew(row, to, zone),
  at: to,
  state: "waiting",
  sentence: "",
  code: "",
  now: undefined,
});

async function send(field, one, put, all) {
  const at = chosen(field, one);
  if (!at) {
    field.say("That is no time on the clock of the site: write the day and the time.", "warning");
    return;
  }
  const by = new Date(at) - new Date(one.at);
  const rows = [...field.entries, ...field.photos, ...field.papers];
  const corrected = (row) => (row.key === one.key && row.put ? { ...row, put } : row);
  const go = (all ? alike(one, rows) : [one]).map((row) =>
    moved(corrected(row), by, zoneOf(field, row)),
  );
  const files = new Set([...field.photos, ...field.papers].map(({ key }) => key));
  await field.store.mark(
    go.filter(({ key }) => files.has(key)),
    "photos",
  );
  await field.store.mark(go.filter(({ key }) => !files.has(key)));
  await field.forgetTyped([placeOf(one), ...Object.keys(put).map(nameOf(one))].map(typedAt));
  await field.draw();
  await field.handing.now();
}

const nameOf = (one) => (name) => `waiting:${one.key}:${name}`;
const typedAt = (place) => ({ place });

/** `put` gives its texts as they were put right meanwhile. */
export function stampEntry(field, one, put = () => one.put ?? {}) {
  const zone = zoneOf(field, one);
  const rows = [...field.entries, ...field.photos, ...field.papers];
  const which = alike(one, rows).filter(({ key }) => key !== one.key);
  const others = which.length;
  return [
    textEntry(field, placeOf(one), {
      label: "When it was",
      help: `On the clock of the site (${zone}); what stands here first is by the clock of the server.`,
      was: forEntry(one.now.at, zone),
      type: "datetime-local",
      optional: false,
    }),
    h(
      "div.press",
      press("Send with this time", () => send(field, one, put(), false), { id: `stamp-${one.key}` }),
      others > 0
        ? press(
            `Send with this time, and move ${count(others, "other")} of this day by as much`,
            () => send(field, one, put(), true),
            { kind: ".outline", id: `stamps-${one.key}` },
          )
        : null,
    ),
    others > 0
      ? h(
          "details",
          { id: `which-${one.key}` },
          h("summary", others > 1 ? "Which others" : "Which other"),
          h("ul", which.map((row) => h("li", `${row.words}, stamped ${instant(row.at, zone)}`))),
        )
      : null,
  ];
}
