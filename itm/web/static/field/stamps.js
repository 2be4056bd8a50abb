// A stamp that cannot be right: the server says when it was by its own clock, and a person takes that
// or writes what was right, for this entry alone or for all that the same clock stamped.

import { h } from "./dom.js";
import { press, textEntry, valueOf } from "./entering.js";
import { siteOf } from "./sides.js";
import { count, forEntry, fromEntry } from "./words.js";

// What one wrong clock stamped lies within a day and a half: the longest test day, and a night.
const ONE_CLOCK = 129_600_000;

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

/** What waits of the same day and was stamped by the same clock, this one among it. */
function alike(one, rows) {
  const near = (row) => Math.abs(new Date(row.at) - new Date(one.at)) <= ONE_CLOCK;
  const waits = (row) => row.visit === one.visit && !["taken", "dropped"].includes(row.state);
  return rows.filter((row) => waits(row) && near(row));
}

const moved = (row, by) => ({
  ...row,
  at: new Date(new Date(row.at).getTime() + by).toISOString(),
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
  const go = (all ? alike(one, rows) : [one]).map((row) => moved(row, by));
  const files = new Set([...field.photos, ...field.papers].map(({ key }) => key));
  await field.store.mark(
    go.filter(({ key }) => files.has(key)),
    "photos",
  );
  await field.store.mark(
    go
      .filter(({ key }) => !files.has(key))
      .map((row) => (row.key === one.key ? { ...row, put } : row)),
  );
  await field.forgetTyped([placeOf(one), ...Object.keys(put).map(nameOf(one))].map(typedAt));
  await field.draw();
  await field.handing.now();
}

const nameOf = (one) => (name) => `waiting:${one.key}:${name}`;
const typedAt = (place) => ({ place });

/** `put` gives its texts as they were put right meanwhile. */
export function stampEntry(field, one, put = () => one.put ?? {}) {
  const zone = zoneOf(field, one);
  const others = alike(one, [...field.entries, ...field.photos, ...field.papers]).length - 1;
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
  ];
}
