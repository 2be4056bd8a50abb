// Moments of a discharge that cannot have followed each other as they stand; the sentences of
// itm/records/ordering.py, where the record keeps them. Said, never corrected.

import { count, instant } from "./words.js";

const SAME = 60_000;
const A_DAY = 86_400_000;
const ms = (at) => new Date(at).getTime();
const wrong = "one of the two times is wrong.";

function foamOrder(startedAt, foamAt, zone) {
  if (!startedAt || !foamAt) return [];
  const apart = ms(foamAt) - ms(startedAt);
  if (apart < -SAME)
    return [
      `Foam was noted at ${instant(foamAt, zone)}, before the first valve was moved at ${instant(startedAt, zone)}: ${wrong}`,
    ];
  if (apart > A_DAY)
    return [
      `Foam was noted ${count(Math.floor(apart / A_DAY), "day")} after the first valve was moved at ${instant(startedAt, zone)}: a test day has no such pause, so one of the two times may be wrong.`,
    ];
  return [];
}

function sampleOrder(bottle, startedAt, stoppedAt, zone) {
  if (!bottle.taken_at) return [];
  const taken = ms(bottle.taken_at);
  const caught = `${bottle.label} stands as caught at ${instant(bottle.taken_at, zone)}`;
  const read = bottle.readings.filter((one) => !one.set_aside_reason).map((one) => one.read_at);
  const first = read.sort((a, b) => ms(a) - ms(b))[0];
  if (first && ms(first) < taken - SAME)
    return [`${caught}, and was read at ${instant(first, zone)}, before that: ${wrong}`];
  if (startedAt && taken < ms(startedAt) - SAME)
    return [
      `${caught}, before the first valve was moved at ${instant(startedAt, zone)}: ${wrong}`,
    ];
  if (stoppedAt && taken > ms(stoppedAt) + SAME)
    return [
      `${caught}, after stopping and flushing began at ${instant(stoppedAt, zone)}: what flowed then is no solution of this flow point, or ${wrong}`,
    ];
  return [];
}

export function orderRemarks(view, test, run, samples, zone) {
  const done = test.flush.map((step) => step.done_at).filter(Boolean);
  const stopped = done.sort((a, b) => ms(a) - ms(b))[0];
  const begun = view.visit.started_at;
  return [
    ...foamOrder(begun, run.foam_seen_at, zone),
    ...samples.flatMap((bottle) => sampleOrder(bottle, begun, stopped, zone)),
  ];
}
