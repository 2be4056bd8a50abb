// When the queue is handed over: on opening, when the signal or the page comes back, after each
// entry, by the button, and again by itself after a pause that grows.

import { linesThere } from "./begun.js";
import { count } from "./words.js";
import { tellOff } from "./off.js";
import { isDisk, whyNotNoted } from "./store.js";
import * as sync from "./sync.js";

const SOON = 800; // ms after an entry, so that a run of them goes together
const LOOK_AGAIN = 60_000; // ms, because not every device tells
const CLOCK_APART = 120; // s, own choice: more than a radio message, less than an hour of summer time

export class Handing {
  constructor(field) {
    this.field = field;
    this.state = "idle"; // idle | sending | no_signal | busy | signed_out | other_person | forbidden
    this.sentence = "";
    this.failures = 0;
  }

  listen() {
    window.addEventListener("online", () => this.now());
    window.addEventListener("offline", () => this.away());
    document.addEventListener(
      "visibilitychange",
      () => document.visibilityState === "visible" && this.now(),
    );
    this.now();
  }

  soon() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.now(), SOON);
  }

  async now() {
    const { field } = this;
    if (!field.store) return;
    if (this.state === "sending") {
      this.again = true; // what was entered meanwhile goes as soon as this round has ended
      return;
    }
    clearTimeout(this.timer);
    if (!navigator.onLine) {
      await this.away();
      return;
    }
    this.state = "sending";
    this.left = this.papers = this.photos = null;
    await field.drawStrip();
    try {
      await this.hand(field);
      this.state = "idle";
      this.failures = 0;
      this.sentence = "";
    } catch (stopped) {
      if (!(stopped instanceof sync.Stopped))
        this.sentence = `A fault in this page: ${stopped.message || stopped.name || "it gave no reason"}.`;
      await this.stopped(stopped.kind ?? "busy", stopped.kind ? stopped.message : this.sentence);
    }
    await field.refresh();
    if (this.again && this.state === "idle") this.soon();
    this.again = false;
  }

  async hand(field) {
    const store = field.store;
    const done = await sync.handOver(store, field.person, (progress) => {
      Object.assign(this, progress);
      field.drawStrip();
    });
    if (!done) return; // another window of this device does it
    this.apart = Math.round((Date.now() - new Date(done.session.server_now)) / 1000);
    await tellOff(field.person.key, done.session.csrf).catch(() => {}); // goes with the next round
    let full = null;
    const room = (error) => {
      if (!isDisk(error)) throw error;
      full = new sync.Stopped("busy", whyNotNoted(error));
    };
    await store.setFact("handed_at", new Date().toISOString()).catch(room);
    // Every day that is along is fetched again: the other phone has written in it meanwhile. Before
    // the photos, because those are slow and nobody should wait for them.
    const days = await store.days();
    await this.renew(days.map((one) => one.key)).catch(room);
    // Ticks that hung on a test begun here go once the day has their lines of another device.
    if (linesThere(await store.days()).size > linesThere(days).size) this.again = true;
    field.listed = await sync.listDays().catch(() => []);
    if (done.sent) field.say(`${count(done.sent, "entry", "entries")} taken by the server.`);
    this.left = this.papers = null;
    await field.refresh();
    const photos = await sync.handPhotos(store, done.session, (progress) => {
      Object.assign(this, progress);
      field.drawStrip();
    });
    await this.renew(new Set(photos?.visits)).catch(room);
    // An inspection names its photos, so it waited for them.
    const waited = (await store.entries()).some(({ code }) => code === "waits");
    if (photos?.more || (photos?.visits.length && waited)) this.again = true;
    const late = done.late ?? photos?.late ?? full;
    if (late) throw late;
  }

  async renew(visits) {
    const held = new Set((await this.field.store.days()).map((one) => one.key));
    for (const visit of visits) {
      if (!held.has(visit)) continue;
      await sync.renew(this.field.store, visit, true).catch((stopped) => {
        if (stopped.kind !== "gone") throw stopped;
      });
    }
  }

  /** The device itself says that it is out of reach: no try fails, and it tells when it is back. */
  async away() {
    clearTimeout(this.timer);
    this.state = "no_signal";
    this.timer = setTimeout(() => this.now(), LOOK_AGAIN);
    await this.field.drawStrip();
  }

  async stopped(kind, sentence) {
    this.state = kind;
    this.sentence = sentence;
    clearTimeout(this.timer);
    if (kind === "no_signal" || kind === "busy") {
      this.next = sync.pause(this.failures);
      this.failures += 1;
      this.timer = setTimeout(() => this.now(), this.next);
    }
    await this.field.drawStrip();
  }

  /** The phone's clock beside the server's, where they differ by more than a message takes. */
  get clockApart() {
    return Math.abs(this.apart ?? 0) > CLOCK_APART ? this.apart : 0;
  }
}
