// Field capture: one page that goes on working where there is no signal. What a person does is an
// entry on this device's disk before the screen says so; hand-over is the queue's business.

import { h, notice, replace } from "./dom.js";
import { project } from "./day.js";
import { Handing } from "./handing.js";
import { soughtOf, openLabel, seekLabel } from "./label.js";
import * as disk from "./store.js";
import { who } from "./sync.js";
import { screens } from "./screens.js";
import { asTyped } from "./stopwatch.js";
import { strip } from "./strip.js";

const root = document.getElementById("field");
const said = document.getElementById("said");
const SHORT = 1_500; // ms to learn who is signed in before the device's own memory is believed
const DRAFT_PAUSE = 250; // ms after a keystroke until it is on the disk

class Field {
  constructor() {
    this.person = null;
    this.store = null;
    this.others = [];
    this.days = [];
    this.entries = [];
    this.photos = [];
    this.papers = [];
    this.typed = []; // what was typed and not kept, of all days
    this.drafts = new Map();
    this.problems = new Map();
    this.listed = null; // days that the server offers, once it was asked
    this.handing = new Handing(this);
    this.parts = ["days"];
  }

  async start() {
    navigator.serviceWorker?.register("/field/worker.js", { scope: "/field/" }).catch(() => {
      this.say(
        "This browser keeps no copy of this page: without signal it will not open again. Use its ordinary window, not a private one.",
        "error",
      );
    });
    const here = disk.personHere();
    const asked = navigator.onLine ? who().catch((stopped) => stopped) : Promise.resolve(null);
    const known = await Promise.race([asked, new Promise((done) => setTimeout(done, SHORT, null))]);
    if (known?.person) await this.enter(known.person);
    else if (here && disk.people()[here])
      await this.enter({ key: here, name: disk.people()[here] });
    else this.others = await disk.othersWaiting("");
    window.addEventListener("hashchange", () => this.draw(true));
    window.addEventListener("pagehide", () => this.flushDrafts());
    this.mindFingers();
    setInterval(tick, 500);
    await this.draw(true);
    this.handing.listen();
    if (known === null) asked.then((late) => late?.person && this.changeTo(late.person));
  }

  async changeTo(person) {
    if (person.key === this.person?.key) return;
    await this.enter(person);
    await this.draw(true);
  }

  /** Open this person's own store; nobody else's is ever on the screen. */
  async enter(person) {
    disk.settle(person);
    this.store?.close();
    this.person = person;
    this.listed = null;
    this.drafts.clear();
    this.problems.clear();
    this.store = await disk.openStore(person.key);
    this.others = await disk.othersWaiting(person.key);
    await navigator.storage
      ?.persist?.()
      .then((lasting) => this.store.setFact("lasting", lasting))
      .catch(() => {});
    this.lasting = await this.store.fact("lasting");
  }

  /** Read the disk again, so that the screen shows what is really there. */
  async load() {
    if (!this.store) return;
    this.days = await this.store.days();
    await this.loadQueue();
    const visit = this.parts[0] === "d" ? this.parts[1] : null;
    const held = this.days.find((one) => one.key === visit);
    if (visit !== this.visit) {
      await this.flushDrafts(); // of the day that is left
      const drafts = visit ? await this.store.draftsOf(visit) : [];
      this.drafts = new Map(drafts.map((draft) => [draft.place, draft]));
      this.problems.clear();
    }
    this.visit = visit;
    this.loadedAt = held?.loaded_at;
    this.view = held
      ? project(
          held.day,
          this.entries.filter((one) => one.visit === visit),
          this.person,
          this.papers.filter((one) => one.visit === visit),
        )
      : null;
    this.zone = this.view?.visit.site.time_zone ?? "UTC";
  }

  async loadQueue() {
    [this.entries, this.photos, this.papers, this.typed] = await Promise.all([
      this.store.entries(),
      this.store.photos(),
      this.store.papers(),
      this.store.typed(),
    ]);
  }

  async draw(moved = false) {
    this.parts = location.hash.replace(/^#\/?/, "").split("/").filter(Boolean);
    if (!this.parts.length) this.parts = ["days"];
    if (this.parts[0] === "b" && (await openLabel(this, ...soughtOf(this.parts)))) return;
    await this.load();
    replace(root, [...screens(this), strip(this)]);
    root.dataset.screen = this.parts.join("/"); // which screen stands here, once it does
    tick();
    if (!moved) return;
    const heading = root.querySelector("h1");
    if (heading) document.title = `${heading.textContent} · Foam ITM`;
    window.scrollTo(0, 0);
    if (this.drawn) document.getElementById("main").focus({ preventScroll: true });
    this.drawn = true;
    seekLabel(this);
  }

  /** A button that is drawn anew between finger down and finger up would lose its press. */
  mindFingers() {
    const late = () => this.stale && this.refresh();
    root.addEventListener("focusout", () => setTimeout(late, 0));
    root.addEventListener("pointerdown", () => (this.pressed = true));
    const up = () => {
      this.pressed = false;
      late();
    };
    for (const kind of ["pointerup", "pointercancel"]) {
      window.addEventListener(kind, () => setTimeout(up, 50)); // after the click that follows
    }
  }

  /** Draw what came from elsewhere, but never under the fingers of somebody who types. */
  async refresh() {
    const active = document.activeElement;
    const typing = root.contains(active) && active.matches("input, select, textarea");
    this.stale = typing || Boolean(this.pressed);
    if (!this.stale) await this.draw();
    else if (!this.pressed) await this.drawStrip();
  }

  async drawStrip() {
    if (!this.store || this.pressed) return;
    await this.loadQueue();
    const old = document.getElementById("strip");
    if (old)
      replace(
        old.parentElement,
        [...old.parentElement.children].map((one) => (one === old ? strip(this) : one)),
      );
  }

  say(sentence, kind = "success") {
    said.replaceChildren(
      h(`div.said.${kind}`, { role: kind === "error" ? "alert" : "status" }, h("p", sentence)),
    );
  }

  go(hash) {
    location.hash = hash;
  }

  /**
   * One deed. It is said to be kept when the disk has it, and not before. `places` are the entries
   * on the screen that became it; `key` is the one that its first keystroke made.
   */
  async act(verb, of, put = {}, { words, opened, key, shows, places = [], quiet = false } = {}) {
    const entry = {
      key: key ?? crypto.randomUUID(),
      visit: this.visit,
      verb,
      of,
      put,
      at: new Date().toISOString(),
      words,
      state: "waiting",
      ...(opened && { opened }),
      ...(shows && { shows }), // what the server will make of it
    };
    const held = this.#heldBack(places);
    try {
      await this.store.keep(entry, places);
    } catch (error) {
      for (const draft of held) this.fresh.add(draft);
      this.say(disk.whyNotKept(error), "error");
      return null;
    }
    for (const place of places) {
      this.drafts.delete(place);
      this.problems.delete(place);
    }
    if (!quiet) this.say(`${words}: kept on this device.`);
    await this.draw();
    this.handing.soon();
    return entry;
  }

  async keepPhoto(of, file, words) {
    const photo = {
      key: crypto.randomUUID(),
      visit: this.visit,
      of,
      name: file.name || "photo.jpg",
      type: file.type,
      blob: file,
      at: new Date().toISOString(),
      words,
      state: "waiting",
    };
    if (!(await this.#onDisk(() => this.store.keepPhoto(photo)))) return null;
    this.say(`${words}: the photo is kept on this device.`);
    await this.draw();
    this.handing.soon();
    return photo;
  }

  /** A laboratory's file on the disk before anything is typed of it; another takes its place. */
  async choosePaper(check, file, before) {
    const paper = {
      key: before?.key ?? crypto.randomUUID(),
      visit: this.visit,
      kind: "paper",
      of: { check: check.key },
      put: {},
      name: file.name || "report",
      type: file.type,
      blob: file,
      at: new Date().toISOString(),
      words: `Report on ${check.tank}`,
      state: "chosen",
    };
    if (!(await this.#onDisk(() => this.store.keepPaper(paper)))) return;
    this.problems.delete(`paper-${check.key}:file`);
    this.say(`${paper.name} is on this device. Write what stands on it, then keep the report.`);
    await this.draw();
  }

  async dropPaper(paper) {
    await this.store.mark([{ ...paper, state: "dropped" }], "photos");
    this.say(`${paper.name} is taken off this device. What was typed stays.`);
    await this.draw();
  }

  /** From now on it waits, with what it says, as one. */
  async keepPaper(paper, places) {
    const kept = { ...paper, at: new Date().toISOString(), state: "waiting" };
    const held = this.#heldBack(places);
    if (!(await this.#onDisk(() => this.store.keepPaper(kept, places, this.visit)))) {
      for (const draft of held) this.fresh.add(draft);
      return;
    }
    for (const place of places) {
      this.drafts.delete(place);
      this.problems.delete(place);
    }
    this.say(`${kept.words}: kept on this device.`);
    await this.draw();
    this.handing.soon();
  }

  /** Back into its form, so that what was refused is put right where it was typed. */
  async openPaper(paper, texts) {
    const drafts = texts.map(([place, value]) => ({
      place,
      visit: paper.visit,
      key: crypto.randomUUID(),
      opened: "",
      value,
    }));
    const open = { ...paper, state: "chosen", sentence: "", code: "" };
    if (!(await this.#onDisk(() => this.store.openPaper(open, drafts)))) return;
    this.visit = null; // the drafts are read anew with its day
    this.go(`#/d/${paper.visit}/check/${paper.of.check}`);
  }

  async #onDisk(keep) {
    try {
      await keep();
      return true;
    } catch (error) {
      this.say(disk.whyNotKept(error), "error");
      return false;
    }
  }

  draft(place) {
    return this.drafts.get(place);
  }

  /** A keystroke: on the disk soon, with a key that stays, and the text that stood here before. */
  type(place, value, opened) {
    const draft = this.drafts.get(place) ?? {
      place,
      visit: this.visit,
      key: crypto.randomUUID(),
      opened,
    };
    draft.value = value;
    this.drafts.set(place, draft);
    this.problems.delete(place);
    this.fresh ??= new Set();
    this.fresh.add(draft);
    clearTimeout(this.typing);
    this.typing = setTimeout(() => this.flushDrafts(), DRAFT_PAUSE);
  }

  /** A press that has to outlive whatever comes next: on the disk before the screen says so. */
  async stamp(place, value) {
    const draft = { place, visit: this.visit, key: crypto.randomUUID(), opened: "", value };
    if (!(await this.#onDisk(() => this.store.stamp(draft)))) return false;
    this.drafts.set(place, draft);
    await this.draw();
    return true;
  }

  async unstamp(place) {
    await this.store.dropDrafts([{ place, visit: this.visit }]);
    this.drafts.delete(place);
    await this.draw();
  }

  /** Drafts that are about to become an entry are not written by a clock that runs out meanwhile:
   * they would come after their own end, and be told as typed and not kept. */
  #heldBack(places) {
    const held = [...(this.fresh ?? [])].filter(({ place }) => places.includes(place));
    for (const draft of held) this.fresh.delete(draft);
    return held;
  }

  async flushDrafts() {
    const fresh = [...(this.fresh ?? [])].filter((draft) => this.drafts.get(draft.place) === draft);
    this.fresh = new Set();
    try {
      await Promise.all(fresh.map((draft) => this.store.keepDraft(draft)));
    } catch (error) {
      this.say(disk.whyNotKept(error), "error");
    }
    if (fresh.length) await this.drawStrip(); // it tells of what was typed and not kept
  }

  async forgetTyped(drafts) {
    await this.store.dropDrafts(drafts);
    const shown = drafts.filter(({ visit }) => (visit ?? null) === (this.visit ?? null));
    for (const { place } of shown) this.drafts.delete(place);
  }

  /** Sentences beside entries; the first of them gets the focus. */
  async refuse(problems) {
    for (const [place, sentence] of Object.entries(problems)) this.problems.set(place, sentence);
    await this.draw();
    root.querySelector("[aria-invalid]")?.focus();
  }
}

/** Clocks that run on the screen without drawing it anew. */
function tick() {
  for (const place of document.querySelectorAll("[data-clock]")) {
    const gone = Math.max(0, Math.floor((Date.now() - new Date(place.dataset.clock)) / 1000));
    place.textContent = asTyped(gone);
  }
  for (const place of document.querySelectorAll("[data-since]")) {
    const gone = Math.floor((Date.now() - new Date(place.dataset.since)) / 1000);
    if (gone < -5 || gone > 5400) {
      place.textContent = "";
      continue;
    }
    const left = Number(place.dataset.settled) - gone;
    const run = `${Math.floor(Math.max(0, gone) / 60)}:${String(Math.max(0, gone) % 60).padStart(2, "0")}`;
    place.textContent = left > 0 ? `${run}, first sample in ${left} s` : run;
  }
}

const field = new Field();
field.start().catch((error) => {
  root.replaceChildren(
    notice(
      "This page could not start on this device: its storage does not open. A private window, or a browser that keeps nothing, cannot hold a test day.",
      "warning",
    ),
    h("p", h("small", String(error?.message ?? error))),
  );
});
