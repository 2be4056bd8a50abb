// Hands over what waits. A queue of entries in the order they were made, each with the key that it
// had from its first keystroke: sent ten times it is one deed. Nothing leaves the queue but what the
// server has taken, or what a person takes off it.

import { STUCK } from "./day.js";

export const MOST_AT_ONCE = 40;
const PATIENCE = 20_000; // ms for one request, own choice
const FIRST_PAUSE = 3_000;
const LONGEST_PAUSE = 300_000;
const LOCK = "itm-field-hand-over";

/** Ends a round: `kind` says what a person can do about it. */
export class Stopped extends Error {
  constructor(kind, sentence) {
    super(sentence);
    this.kind = kind;
  }
}

const SIGNED_OUT =
  "You are signed out on this device. Sign in again; what waits here is sent then.";

async function ask(address, options = {}) {
  let answer;
  try {
    answer = await fetch(address, {
      credentials: "same-origin",
      redirect: "manual",
      cache: "no-store",
      signal: AbortSignal.timeout(PATIENCE),
      ...options,
    });
  } catch {
    throw new Stopped(navigator.onLine ? "busy" : "no_signal", "No answer from the server.");
  }
  if (answer.type === "opaqueredirect" || answer.status === 401)
    throw new Stopped("signed_out", SIGNED_OUT);
  if (answer.status === 429 || answer.status >= 500) {
    throw new Stopped("busy", `The server cannot answer now (${answer.status}).`);
  }
  return answer;
}

async function json(answer) {
  try {
    return await answer.json();
  } catch {
    throw new Stopped("busy", "The answer of the server broke off.");
  }
}

/** Who is signed in, with a token for the posts of this round and the time of the server. */
export async function who() {
  const answer = await ask("/field/who/");
  if (!answer.ok) throw new Stopped("signed_out", SIGNED_OUT);
  return json(answer);
}

export async function listDays() {
  const answer = await ask("/field/days/");
  if (!answer.ok) throw new Stopped("forbidden", "Your role has no test days to take along.");
  return (await json(answer)).days;
}

export async function fetchDay(visit) {
  const answer = await ask(`/field/days/${visit}/`);
  if (answer.status === 404 || answer.status === 403)
    throw new Stopped("gone", "This visit is not open to you any more.");
  if (!answer.ok) throw new Stopped("busy", `The server cannot answer now (${answer.status}).`);
  return json(answer);
}

/** How long to wait before the next try: doubling, and never two phones in step. */
export function pause(failures, random = Math.random) {
  return Math.min(LONGEST_PAUSE, FIRST_PAUSE * 2 ** Math.min(failures, 20)) * (0.5 + random());
}

/** An entry as it goes over the wire or into a file. */
export const wire = ({ key, verb, of, put, opened, at }) => ({
  key,
  verb,
  of,
  put,
  ...(opened && { opened }),
  at,
});

const HAND_INS = new Set(["hand_in", "hand_in_check"]);
const unsettled = (entry) => entry.state !== "taken" && !HAND_INS.has(entry.verb);

/** What may go now: never what is stuck, and a hand-in only when nothing else of its day waits, a
 * laboratory's paper among it. */
export function ready(entries, tried, papers = []) {
  const held = papers.filter((one) => !["taken", "chosen"].includes(one.state));
  const open = new Set([...entries.filter(unsettled), ...held].map((one) => one.visit));
  return entries.filter(
    (entry) =>
      entry.state === "waiting" &&
      !tried.has(entry.key) &&
      !(HAND_INS.has(entry.verb) && open.has(entry.visit)),
  );
}

/**
 * One round. `say` is told of progress as { sent, left }. Gives the visits that changed; throws
 * Stopped where the round could not end. What was taken before that stays taken.
 */
export async function handOver(store, person, say) {
  if (!navigator.locks) return round(store, person, say);
  return navigator.locks.request(LOCK, { ifAvailable: true }, (lock) =>
    lock ? round(store, person, say) : null,
  );
}

async function round(store, person, say) {
  const session = await who();
  if (session.person.key !== person.key) {
    throw new Stopped(
      "other_person",
      `${session.person.name} is signed in on this device. What ${person.name} entered is sent when ${person.name} signs in.`,
    );
  }
  const post = poster(session.csrf);
  const changed = new Set();
  const tried = new Set();
  let sent = 0;
  for (;;) {
    const entries = await store.entries();
    const batch = ready(entries, tried, await store.papers()).slice(0, MOST_AT_ONCE);
    if (!batch.length) {
      // A paper hangs on entries, and a hand-in on papers: so these go in between.
      const papers = await postPapers(store, post, say, tried);
      papers.forEach((visit) => changed.add(visit));
      sent += papers.length;
      if (!papers.length) break;
      continue;
    }
    batch.forEach((entry) => tried.add(entry.key));
    const answers = await postEntries(post, batch);
    const rows = batch.map((entry) => answered(entry, answers.get(entry.key)));
    await store.mark(rows);
    rows.forEach((row) => changed.add(row.visit));
    sent += rows.filter((row) => row.state === "taken").length;
    say({ sent, left: (await store.entries()).filter((one) => one.state === "waiting").length });
  }
  for (const visit of await postPhotos(store, post, say)) changed.add(visit);
  return { session, changed: [...changed], sent };
}

function poster(csrf) {
  return async (address, body, headers = {}) => {
    const answer = await ask(address, {
      method: "POST",
      body,
      headers: { "X-CSRFToken": csrf, ...headers },
    });
    if (answer.status === 403)
      throw new Stopped(
        "forbidden",
        "The server does not take this from you now. Sign in again, then send once more.",
      );
    return answer;
  };
}

async function postEntries(post, batch) {
  const body = JSON.stringify({ device_now: new Date().toISOString(), entries: batch.map(wire) });
  const answer = await post("/field/entries/", body, { "Content-Type": "application/json" });
  if (answer.ok) return new Map((await json(answer)).answers.map((one) => [one.key, one]));
  if (batch.length === 1) {
    const sentence =
      "The server could not read this entry. Note it on its page instead, then take it off here.";
    return new Map([[batch[0].key, { state: "refused", code: "unreadable", sentence }]]);
  }
  // One of them is unreadable: each alone, so that it holds up nobody else.
  const each = new Map();
  for (const entry of batch) for (const pair of await postEntries(post, [entry])) each.set(...pair);
  return each;
}

/** The entry after its answer. What only waits for another one is tried again with the next round. */
function answered(entry, answer) {
  if (!answer) return entry;
  const { code = "", sentence = "", place = "", now = {} } = answer;
  if (answer.state === "taken" || answer.state === "taken_before") {
    return { ...entry, state: "taken", code, sentence: "", taken_at: new Date().toISOString() };
  }
  if (code === "waits") return { ...entry, code, sentence };
  return {
    ...entry,
    state: STUCK.has(answer.state) ? answer.state : "refused",
    code,
    sentence,
    place,
    now,
  };
}

/** Visits of the papers that were taken, one for each. */
async function postPapers(store, post, say, tried) {
  const entries = new Map((await store.entries()).map((entry) => [entry.key, entry]));
  const isHere = (key) => entries.has(key) && entries.get(key).state !== "taken";
  const papers = (await store.papers()).filter(
    (one) =>
      one.state === "waiting" &&
      !tried.has(one.key) &&
      !one.put.samples.some(({ sample }) => isHere(sample)),
  );
  const taken = [];
  for (const [done, paper] of papers.entries()) {
    tried.add(paper.key);
    const form = new FormData();
    for (const name of ["key", "at"]) form.set(name, paper[name]);
    for (const name of ["of", "put"]) form.set(name, JSON.stringify(paper[name]));
    form.set("file", paper.blob, paper.name);
    const row = answered(paper, await fileAnswer(await post("/field/papers/", form)));
    await store.mark([row], "photos");
    if (row.state === "taken") taken.push(paper.visit);
    say({ papers: papers.length - done - 1 });
  }
  return taken;
}

const fileAnswer = async (answer) =>
  answer.ok
    ? json(answer)
    : { state: "refused", code: "unreadable", sentence: "The server could not take this file." };

async function postPhotos(store, post, say) {
  const visits = new Set();
  const entries = new Map((await store.entries()).map((entry) => [entry.key, entry]));
  const photos = (await store.photos()).filter((photo) => photo.state === "waiting");
  for (const [done, photo] of photos.entries()) {
    const made = entries.get(Object.values(photo.of)[0]);
    if (made && made.state !== "taken") continue; // hangs on an entry that is not taken yet
    const form = new FormData();
    form.set("key", photo.key);
    form.set("of", JSON.stringify(photo.of));
    form.set("at", photo.at);
    form.set("device_now", new Date().toISOString());
    form.set("file", photo.blob, photo.name);
    const answer = await fileAnswer(await post("/field/photos/", form));
    await store.mark([answered(photo, answer)], "photos");
    visits.add(photo.visit);
    say({ photos: photos.length - done - 1 });
  }
  return visits;
}

/** Fetch a day again and let go, with the old copy, of what it shows now. */
export async function renew(store, visit) {
  const taken = (rows) => rows.filter((one) => one.visit === visit && one.state === "taken");
  const shown = {
    entries: taken(await store.entries()).map((one) => one.n),
    photos: taken([...(await store.photos()), ...(await store.papers())]).map((one) => one.key),
  };
  await store.renew(visit, await fetchDay(visit), shown);
}
