// Hands over what waits. A queue of entries in the order they were made, each with the key that it
// had from its first keystroke: sent ten times it is one deed. Nothing leaves the queue but what the
// server has taken, or what a person takes off it.

import { Stopped, ask, json, poster, signedOut } from "./asking.js";
import { hangsOnKeys, keysToCome, linesThere } from "./begun.js";
import { STUCK } from "./day.js";
import { settled } from "./off.js";
import { deviceHere, whyNotNoted } from "./store.js";

export const MOST_AT_ONCE = 40;
const FIRST_PAUSE = 3_000;
const LONGEST_PAUSE = 300_000;
const LOCK = "itm-field-hand-over";
const BREATH = 1_000; // ms before what the server failed on is sent once more

export { Stopped };

/** Who is signed in, with a token for the posts of this round and the time of the server. */
export async function who() {
  const answer = await ask("/field/who/");
  if (!answer.ok) throw signedOut();
  return json(answer);
}

export async function listDays() {
  const answer = await ask("/field/days/");
  if (!answer.ok) throw new Stopped("forbidden", "Your role has no test days to take along.");
  return (await json(answer)).days;
}

async function fetchDay(store, visit) {
  const { entries, typed } = await store.unsent(visit);
  const said = new URLSearchParams({ device: deviceHere(), waiting: entries + typed });
  const answer = await ask(`/field/days/${visit}/?${said}`);
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

export const HAND_INS = new Set(["hand_in", "hand_in_check"]);
const unsettled = (entry) => entry.state !== "taken" && !HAND_INS.has(entry.verb);

/** What may go now: never what is stuck, nothing of a test begun here that is not taken yet, and a
 * hand-in only when nothing else of its day waits, a laboratory's paper among it. */
export function ready(entries, tried, papers = [], there = new Set()) {
  const held = papers.filter((one) => !["taken", "chosen"].includes(one.state));
  const toCome = keysToCome(entries, there);
  const open = new Set([...entries.filter(unsettled), ...held].map((one) => one.visit));
  return entries.filter(
    (entry) =>
      entry.state === "waiting" &&
      !tried.has(entry.key) &&
      !hangsOnKeys(entry, toCome) &&
      !(HAND_INS.has(entry.verb) && open.has(entry.visit)),
  );
}

/**
 * One round of entries and papers. `say` is told of progress as { sent, left }. Gives the visits that
 * changed, and in `late` what could not go now while everything else went on; throws Stopped where
 * the round could not end. What was taken before that stays taken.
 */
export const handOver = (store, person, say) => alone(() => round(store, person, say));

/** Photos after everything else, because they are large: one that fails holds up nothing. Gives the
 * visits that changed, `late`, and whether `more` was entered meanwhile, which goes first. */
export const handPhotos = (store, session, say) =>
  alone(() => postPhotos(store, poster(session.csrf), say));

/** Nothing where another window of this device does it. */
async function alone(work) {
  if (!navigator.locks) return work();
  return navigator.locks.request(LOCK, { ifAvailable: true }, (lock) => (lock ? work() : null));
}

/** What the disk did not take of this round stands in `unstored`: a device whose storage is full sends
 * all the same, and what it could not note is sent again and taken once. */
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
  const there = linesThere(await store.days());
  const unstored = new Map();
  let sent = 0;
  let late = null;
  let full = null;
  const known = async () => (await store.entries()).map((row) => unstored.get(row.key) ?? row);
  const note = async (rows) => {
    try {
      await store.mark(rows);
      rows.forEach(({ key }) => unstored.delete(key));
      full = null;
    } catch (error) {
      rows.forEach((row) => unstored.set(row.key, row));
      full = notNoted(error);
    }
  };
  for (;;) {
    const entries = await known();
    const batch = ready(entries, tried, await store.papers(), there).slice(0, MOST_AT_ONCE);
    if (!batch.length) {
      // A paper hangs on entries, and a hand-in on papers: so these go in between.
      const papers = await postPapers(store, post, say, tried, await known());
      late = papers.late ?? late;
      papers.visits.forEach((visit) => changed.add(visit));
      sent += papers.visits.length;
      if (!papers.visits.length) break;
      continue;
    }
    batch.forEach((entry) => tried.add(entry.key));
    // Kept before it goes: an answer that is lost on its way leaves a row that may be taken.
    const sent_at = new Date().toISOString();
    const going = batch.map((entry) => ({ ...entry, sent_at }));
    await note(going);
    const answers = await postEntries(post, batch);
    const rows = going.map((entry) => answered(entry, answers.get(entry.key)));
    if (rows.some((row) => row.code === FAULT && row.state === "waiting")) late = faulty();
    await note(rows);
    rows.forEach((row) => changed.add(row.visit));
    sent += rows.filter((row) => row.state === "taken").length;
    say({ sent, left: (await known()).filter((one) => one.state === "waiting").length });
  }
  return { session, changed: [...changed], sent, late: late ?? (unstored.size ? full : null) };
}

const notNoted = (error) => new Stopped("busy", whyNotNoted(error));

// Entries -----------------------------------------------------------------------------------------

const FAULT = "server_fault";
const PARKED =
  "The server failed on this entry each time it was sent, while it answered all else: the fault is on its side, and whoever runs it finds it in its log. Send it again later, or note it on its page and take it off here.";
const faulty = () => new Stopped("busy", "The server failed on what was sent.", 500);

/** What the server answered, by key. An entry that it fails on twice is parked with a sentence, so
 * that it holds up nobody else; where it fails on all of them, none of them is the one at fault. */
async function postEntries(post, batch) {
  try {
    return await twice(() => postOnce(post, batch));
  } catch (stopped) {
    if (!stopped.isFault) throw stopped;
  }
  await who(); // throws where the server answers nobody
  if (batch.length === 1) return new Map([[batch[0].key, fault("refused")]]);
  const each = new Map();
  for (const entry of batch) {
    for (const pair of await postSingly(post, entry)) each.set(...pair);
  }
  const all = [...each.values()].every(({ code }) => code === FAULT);
  return all ? new Map(batch.map(({ key }) => [key, fault("waiting")])) : each;
}

const fault = (state) => ({ state, code: FAULT, sentence: PARKED });

async function postSingly(post, entry) {
  try {
    return await postOnce(post, [entry]);
  } catch (stopped) {
    if (!stopped.isFault) throw stopped;
    return new Map([[entry.key, fault("refused")]]);
  }
}

async function twice(send) {
  try {
    return await send();
  } catch (stopped) {
    if (!stopped.isFault) throw stopped;
    await new Promise((done) => setTimeout(done, BREATH));
    return send();
  }
}

async function postOnce(post, batch) {
  const body = JSON.stringify({ device_now: new Date().toISOString(), entries: batch.map(wire) });
  const answer = await post.text("/field/entries/", body, "application/json");
  if (answer.ok) return new Map((await json(answer)).answers.map((one) => [one.key, one]));
  if (batch.length === 1) {
    const sentence =
      "The server could not read this entry. Note it on its page instead, then take it off here.";
    return new Map([[batch[0].key, { state: "refused", code: "unreadable", sentence }]]);
  }
  // One of them is unreadable: each alone, so that it holds up nobody else.
  const each = new Map();
  for (const entry of batch) for (const pair of await postOnce(post, [entry])) each.set(...pair);
  return each;
}

/** The entry after its answer. What only waits for another one is tried again with the next round. */
function answered(entry, answer) {
  if (!answer) return entry; // with its `sent_at`: the server may have it
  entry = { ...entry, sent_at: "" }; // answered, so it is known whether the server has it
  const { code = "", sentence = "", place = "", now = {} } = answer;
  if (answer.state === "taken" || answer.state === "taken_before") {
    return { ...entry, state: "taken", code, sentence: "", taken_at: new Date().toISOString() };
  }
  if (code === "waits" || answer.state === "waiting") return { ...entry, code, sentence };
  return {
    ...entry,
    state: STUCK.has(answer.state) ? answer.state : "refused",
    code,
    sentence,
    place,
    now,
  };
}

// Files -------------------------------------------------------------------------------------------

/** The visits of the papers that were taken, one for each, and in `late` what could not go now. */
async function postPapers(store, post, say, tried, known) {
  const entries = new Map(known.map((entry) => [entry.key, entry]));
  const isHere = (key) => entries.has(key) && entries.get(key).state !== "taken";
  const papers = (await store.papers()).filter(
    (one) =>
      one.state === "waiting" &&
      !tried.has(one.key) &&
      !one.put.samples.some(({ sample }) => isHere(sample)),
  );
  return postFiles(store, papers, say, "papers", (paper) => {
    tried.add(paper.key);
    const form = new FormData();
    for (const name of ["key", "at"]) form.set(name, paper[name]);
    for (const name of ["of", "put"]) form.set(name, JSON.stringify(paper[name]));
    form.set("file", paper.blob, paper.name);
    return post.file("/field/papers/", form);
  });
}

async function postPhotos(store, post, say) {
  const entries = await store.entries();
  const known = new Map(entries.map((entry) => [entry.key, entry]));
  const waiting = (entry) => entry.state === "waiting";
  const toCome = keysToCome(entries, linesThere(await store.days()));
  const before = new Set(entries.filter(waiting).map((entry) => entry.key));
  const photos = (await store.photos()).filter((photo) => {
    const made = known.get(Object.values(photo.of)[0]);
    return waiting(photo) && !hangsOnKeys(photo, toCome) && !(made && made.state !== "taken"); // hangs on one that is not taken yet
  });
  const isMore = async () => (await store.entries()).some((e) => waiting(e) && !before.has(e.key));
  const send = (photo) => {
    const form = new FormData();
    form.set("key", photo.key);
    form.set("of", JSON.stringify(photo.of));
    form.set("at", photo.at);
    form.set("device_now", new Date().toISOString());
    form.set("file", photo.blob, photo.name);
    return post.file("/field/photos/", form);
  };
  return postFiles(store, photos, say, "photos", send, isMore);
}

/** One after another. What the server fails on stays for the next round; without any answer the
 * others would not go either. */
async function postFiles(store, files, say, kind, send, isMore = async () => false) {
  const visits = [];
  let late = null;
  for (const [done, file] of files.entries()) {
    if (await isMore()) return { visits, late, more: true };
    say({ [kind]: files.length - done });
    const gone = { ...file, sent_at: new Date().toISOString() };
    await store.mark([gone], "photos").catch(() => {}); // a full disk holds nothing up
    let answer;
    try {
      answer = await send(file);
    } catch (stopped) {
      if (!["busy", "no_signal"].includes(stopped.kind)) throw stopped;
      late = stopped;
      if (!stopped.isFault) break;
      continue;
    }
    const row = answered(gone, answer ?? UNREADABLE);
    try {
      await store.mark([row], "photos");
    } catch (error) {
      late = notNoted(error);
      // The server has the picture, and without it there is room again.
      if (kind === "photos" && row.state === "taken")
        await store.mark([{ ...row, state: "dropped" }], "photos").catch(() => {});
    }
    if (row.state === "taken") visits.push(file.visit);
  }
  return { visits, late, more: false };
}

const UNREADABLE = {
  state: "refused",
  code: "unreadable",
  sentence: "The server could not take this file.",
};

/** Fetch a day, and let go, with the old copy, of what it shows now; `held` where it is to stay off
 * if it was taken off meanwhile. */
export async function renew(store, visit, held = false) {
  const taken = (rows) => rows.filter((one) => one.visit === visit && one.state === "taken");
  const shown = {
    entries: taken(await store.entries()).map((one) => one.n),
    photos: taken([...(await store.photos()), ...(await store.papers())]).map((one) => one.key),
  };
  if (await store.renew(visit, await fetchDay(store, visit), shown, held))
    settled(store.person, visit);
}
