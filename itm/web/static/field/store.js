// What this device keeps, a database for each person. A deed counts as kept only when the browser
// says that its transaction is complete, with the strictest durability that it offers.

import { openDB, deleteDB } from "../vendor/idb/idb.js";

const PREFIX = "itm-field-";
const WHO = "itm-field-who"; // the person at this device, written by every page of theirs
const PEOPLE = "itm-field-people"; // everybody with a database here, by name
const DEVICE = "itm-field-device"; // a number of its own, whoever holds it

const STRICT = { durability: "strict" };

export function personHere() {
  return localStorage.getItem(WHO) || "";
}

export function deviceHere() {
  if (!localStorage.getItem(DEVICE)) localStorage.setItem(DEVICE, crypto.randomUUID());
  return localStorage.getItem(DEVICE);
}

export function settle(person) {
  localStorage.setItem(WHO, person.key);
  localStorage.setItem(PEOPLE, JSON.stringify({ ...people(), [person.key]: person.name }));
}

export function people() {
  try {
    return JSON.parse(localStorage.getItem(PEOPLE) || "{}");
  } catch {
    return {};
  }
}

export async function openStore(person) {
  const db = await openDB(PREFIX + person, 1, {
    upgrade(fresh) {
      fresh.createObjectStore("days", { keyPath: "key" });
      const entries = fresh.createObjectStore("entries", { keyPath: "n", autoIncrement: true });
      entries.createIndex("key", "key", { unique: true });
      entries.createIndex("visit", "visit");
      fresh.createObjectStore("photos", { keyPath: "key" }).createIndex("visit", "visit");
      fresh.createObjectStore("drafts", { keyPath: "place" }).createIndex("visit", "visit");
      fresh.createObjectStore("facts", { keyPath: "name" });
    },
    blocking: (_current, _blocked, event) => event.target.close(),
  });
  return new Store(db, person);
}

/** How much of other people waits on this device; what it is stays theirs. */
export async function othersWaiting(person) {
  const found = [];
  for (const [key, name] of Object.entries(people())) {
    if (key === person) continue;
    const store = await openStore(key);
    const count = await store.unsent().then(({ entries, typed }) => entries + typed);
    store.close();
    if (count) found.push({ key, name, count });
  }
  return found;
}

export async function forget(person) {
  const store = await openStore(person);
  const kept = await store.clear();
  store.close();
  if (kept) return;
  const left = people();
  delete left[person];
  localStorage.setItem(PEOPLE, JSON.stringify(left));
  await deleteDB(PREFIX + person);
}

/** A laboratory's paper lies with the photos: a new version of the database would shut out the page
 * of before, which an older worker may still serve where there is no signal. */
export const isPaper = (row) => row.kind === "paper";

const isStop = ({ place }) => place.startsWith("clocked:");

/** A draft that says something else than what stood there; of a form's own, how many lines it has. */
const isTyped = ({ place, value, opened }) =>
  value.trim() !== (opened ?? "").trim() && !place.endsWith(":count") && !isStop({ place });

/** On the disk a draft lies under its day too: the same entry of two days is two texts. */
const under = (visit, place) => (visit ? `${visit} ${place}` : place);
const stored = (draft) => ({ ...draft, place: under(draft.visit, draft.place) });
const asTyped = (row) =>
  row.visit && row.place.startsWith(`${row.visit} `)
    ? { ...row, place: row.place.slice(row.visit.length + 1) }
    : row;

/** As an older page wrote it: under the place alone, where that was typed in the same day. */
async function dropOlder(drafts, { visit, place }) {
  const older = visit ? await drafts.get(place) : null;
  if (older?.visit === visit) await drafts.delete(place);
}

// What matters is asked for at once: a page that is being left has no second moment.
const drop = (drafts, draft) =>
  Promise.all([drafts.delete(under(draft.visit, draft.place)), dropOlder(drafts, draft)]);
const put = (drafts, draft) =>
  Promise.all([drafts.put(stored(draft)), dropOlder(drafts, draft)]);

class Store {
  constructor(db, person) {
    this.db = db;
    this.person = person;
  }

  close() {
    this.db.close();
  }

  days() {
    return this.db.getAll("days");
  }

  day(visit) {
    return this.db.get("days", visit);
  }

  async fact(name) {
    return (await this.db.get("facts", name))?.value;
  }

  async setFact(name, value) {
    await this.db.put("facts", { name, value });
  }

  entriesOf(visit) {
    return this.db.getAllFromIndex("entries", "visit", visit);
  }

  entries() {
    return this.db.getAll("entries");
  }

  async photos() {
    return (await this.db.getAll("photos")).filter((one) => !isPaper(one));
  }

  async papers() {
    return (await this.db.getAll("photos")).filter(isPaper);
  }

  async draftsOf(visit) {
    return (await this.db.getAllFromIndex("drafts", "visit", visit)).map(asTyped);
  }

  /** What was typed and not kept yet, of all days. */
  async typed() {
    return (await this.db.getAll("drafts")).map(asTyped).filter(isTyped);
  }

  /** How many entries, photos and papers no server has, and how much was typed and not kept: of one
   * visit, or of all. */
  async unsent(visit) {
    const own = (rows) => (visit ? rows.filter((one) => one.visit === visit) : rows);
    const [entries, files, typed] = await Promise.all([
      this.entries().then(own),
      this.db.getAll("photos").then(own),
      this.typed().then(own),
    ]);
    const waiting = [...entries, ...files].filter((one) => one.state !== "taken");
    return { entries: waiting.length, typed: typed.length };
  }

  /** Everything goes but what a stop of the stopwatch can be taken back to; whether any is left.
   * What waits is looked for once more where it would be lost: another tab may have kept some. */
  async clear() {
    const stores = ["days", "entries", "photos", "drafts", "facts"];
    const tx = this.db.transaction(stores, "readwrite", STRICT);
    const [entries, photos, drafts] = await Promise.all(
      ["entries", "photos", "drafts"].map((name) => tx.objectStore(name).getAll()),
    );
    const texts = drafts.map(asTyped);
    const waits = [...entries, ...photos].some(({ state }) => state !== "taken");
    if (waits || texts.some(isTyped)) return true;
    const stops = drafts.filter((row) => isStop(asTyped(row)));
    const done = stores.map((name) => tx.objectStore(name).clear());
    for (const stop of stops) done.push(tx.objectStore("drafts").put(stop));
    await Promise.all([...done, tx.done]);
    return stops.length > 0;
  }

  /** Keep one entry, and let go of the drafts that became it, in one transaction. */
  async keep(entry, places = []) {
    const tx = this.db.transaction(["entries", "drafts"], "readwrite", STRICT);
    const done = [
      tx.objectStore("entries").add(entry),
      ...places.map((place) => drop(tx.objectStore("drafts"), { visit: entry.visit, place })),
    ];
    await Promise.all([...done, tx.done]);
  }

  async keepPhoto(photo) {
    const tx = this.db.transaction("photos", "readwrite", STRICT);
    await Promise.all([tx.store.put(photo), tx.done]);
  }

  /** Keep a paper, and let go of the drafts that became it, in one transaction. */
  async keepPaper(paper, places = [], visit = paper.visit) {
    const tx = this.db.transaction(["photos", "drafts"], "readwrite", STRICT);
    const done = [
      tx.objectStore("photos").put(paper),
      ...places.map((place) => drop(tx.objectStore("drafts"), { visit, place })),
    ];
    await Promise.all([...done, tx.done]);
  }

  /** The other way round: a paper back into the form that it came from. */
  async openPaper(paper, drafts) {
    const tx = this.db.transaction(["photos", "drafts"], "readwrite", STRICT);
    const done = [
      tx.objectStore("photos").put(paper),
      ...drafts.map((draft) => put(tx.objectStore("drafts"), draft)),
    ];
    await Promise.all([...done, tx.done]);
  }

  async keepDraft(draft) {
    const tx = this.db.transaction("drafts", "readwrite");
    await Promise.all([put(tx.store, draft), tx.done]);
  }

  /** A draft that a press made and no keystroke: strict, because it cannot be typed once more. */
  async stamp(draft) {
    const tx = this.db.transaction("drafts", "readwrite", STRICT);
    await Promise.all([put(tx.store, draft), tx.done]);
  }

  async dropDrafts(drafts) {
    const tx = this.db.transaction("drafts", "readwrite");
    await Promise.all([...drafts.map((draft) => drop(tx.store, draft)), tx.done]);
  }

  /** Write changed entries; those whose `state` is "dropped" go. A person decided that, or a server
      has them and the day that it sent afterwards shows them. */
  async mark(rows, kind = "entries") {
    const tx = this.db.transaction(kind, "readwrite", STRICT);
    const key = kind === "entries" ? "n" : "key";
    const done = rows.map((row) =>
      row.state === "dropped" ? tx.store.delete(row[key]) : tx.store.put(row),
    );
    await Promise.all([...done, tx.done]);
  }

  /** A fresh copy of a day; what the server had taken before it was asked for goes with the old one.
   * Where `held` and somebody took the day off meanwhile, it stays off; whether it is here. */
  async renew(visit, day, shown, held) {
    const tx = this.db.transaction(["days", "entries", "photos"], "readwrite", STRICT);
    const days = tx.objectStore("days");
    const here = !held || (await days.getKey(visit)) !== undefined;
    const done = here ? [days.put({ key: visit, day, loaded_at: new Date().toISOString() })] : [];
    for (const n of shown.entries) done.push(tx.objectStore("entries").delete(n));
    for (const key of shown.photos) done.push(tx.objectStore("photos").delete(key));
    await Promise.all([...done, tx.done]);
    return here;
  }

  async forgetDay(visit) {
    await this.db.delete("days", visit);
  }
}

const isFull = (error) => [error?.name, error?.inner?.name].includes("QuotaExceededError");

/** Whether it was the disk: its faults have names of their own, and those of a program do not. */
export const isDisk = (error) => isFull(error) || error instanceof DOMException;

/** In words, why the disk did not take what a server answered. */
export const whyNotNoted = (error) =>
  isFull(error)
    ? "The storage of this device is full. What waits is sent all the same, but this device cannot note what the server took, so it still shows it as waiting: free space. What is sent again is taken once."
    : `This browser did not store what the server answered (${error?.name || "unknown reason"}). What is sent again is taken once.`;

/** In words, why the disk did not take something. */
export function whyNotKept(error) {
  if (isFull(error)) {
    return "Not kept: the storage of this device is full. What you typed is still here. Write it on paper too, then free space, or send what waits.";
  }
  return `Not kept: this browser did not store it (${error?.name || "unknown reason"}). What you typed is still here; write it on paper too.`;
}
