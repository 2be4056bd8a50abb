// A round of inspection on the walk: every task that is due at the site, with what it wants to be
// recorded. What is left empty stays due.

import { h, caution, empty, notice, onlyHere } from "./dom.js";
import { choiceEntry, idOf, press, textEntry, valueOf } from "./entering.js";
import { photoPart } from "./photos.js";
import {
  YES,
  answersOf,
  isAsked,
  isRound,
  placeOf,
  placesOf,
  tasksOf,
  textsOf,
} from "./tasks.js";
import { count, day, forEntry } from "./words.js";

const BROKEN = [
  ["", ""],
  ["True", "Yes"],
];

export function inspectScreen(field) {
  const { view } = field;
  const { inspection, visit } = view;
  const round = isRound(view);
  const head = round
    ? [
        h("p.back", h("a", { href: "#/" }, "All days")),
        h("h1", `Inspect ${visit.site.name}`),
      ]
    : [
        h("p.back", h("a", { href: `#/d/${visit.key}` }, visit.site.name)),
        h("h1", "Inspect"),
      ];
  if (!inspection)
    return [
      ...head,
      notice("This copy of the day is older than this page: its tasks come with the next signal."),
    ];
  const asked = isAsked(view, new Date());
  const [now, ahead] = [tasksOf(view).filter(asked), tasksOf(view).filter((one) => !asked(one))];
  return [
    ...head,
    h("p.lead", "Open a task, enter what was found, keep it; what you leave empty stays due."),
    inspection.may ? caution(view.cautions.inspect) : null,
    h("h2", "To inspect"),
    now.length
      ? now.map((task) => taskPart(field, task))
      : empty("Nothing is to be inspected here today that is not noted yet."),
    h("h2", round ? "Noted today" : "Noted on this visit"),
    inspection.noted.length
      ? h(
          "ul.plain",
          inspection.noted.map((one) => h("li", noted(field, one))),
        )
      : h("p", "Nothing yet."),
    ahead.length
      ? h(
          "details",
          { id: "ahead" },
          h("summary", `${count(ahead.length, "task")} ahead of ${ahead.length === 1 ? "its" : "their"} window`),
          h("p", "Done now, it goes on record and completes nothing."),
          ahead.map((task) => taskPart(field, task)),
        )
      : null,
    h(
      "p.do",
      h("a", { href: `/sites/${visit.site.key}/` }, "What is due at the site (needs signal)"),
    ),
  ];
}

function taskPart(field, task) {
  const { inspection } = field.view;
  const late = task.latest_on < forEntry(new Date(), field.zone).slice(0, 10);
  return h(
    "details",
    { id: `task-${task.key}` },
    h(
      "summary",
      h(
        "span",
        h("strong", task.words),
        h("br"),
        h("small", `${task.place} · ${task.when}${late ? " · overdue" : ""}`),
      ),
    ),
    task.acceptance
      ? h("p", h("small", `In order: ${task.acceptance}. ${task.source}`))
      : h("p", h("small", task.source)),
    task.not_possible
      ? notice(`Not possible on ${day(task.not_possible.on)}: ${task.not_possible.reason}`)
      : null,
    inspection.may
      ? h(
          "div.form-narrow",
          task.wants.map((want) => wanted(field, task, want)),
          inspection.closing.map((one) => closing(field, task, one)),
          h("div.do", press("Keep what was found", () => keep(field, task), { id: `keep-${task.key}` })),
        )
      : null,
  );
}

function wanted(field, task, { key, label, kind, unit, choices, optional, limits }) {
  const place = placeOf(field.view.visit, task, `answer-${key}`);
  if (kind === "photo") return sight(field, task, place, { key, label, optional });
  if (kind === "yes_no") return choiceEntry(field, place, { label, choices: YES, optional });
  if (kind === "choice") {
    const own = [["", ""], ...choices.map((one) => [one, one])];
    return choiceEntry(field, place, { label, choices: own, optional });
  }
  const named = unit ? `${label}, ${unit}` : label;
  const number = kind === "number" ? { inputmode: "decimal" } : {};
  return textEntry(field, place, { label: named, help: limits, optional, maxlength: 300, ...number });
}

/** A photo goes by itself, before what it is named in; the latest is the answer. */
function sight(field, task, place, { key, label, optional }) {
  const { visit } = field.view;
  const shown = valueOf(field, place);
  const waits = field.photos.some((one) => one.key === shown && one.state !== "taken");
  const problem = field.problems.get(place);
  const kept = async (photo) => {
    field.type(place, photo.key, "");
    await field.flushDrafts();
    await field.draw();
  };
  const seenOn = isRound(field.view) ? { site: visit.key } : { visit: visit.key };
  const part = photoPart(field, { duty: task.key, ...seenOn }, label, {
    id: idOf(place),
    kept,
  });
  return h(
    `div.field${problem ? ".wrong" : ""}`,
    h("p", label, optional ? h("small", " optional") : null),
    h("p", part, " ", shown ? h("small", "1 photo ", onlyHere(waits)) : null),
    problem ? h("p.error", { id: `${idOf(place)}-error` }, problem) : null,
  );
}

function closing(field, task, { name, label, help, longest }) {
  const place = placeOf(field.view.visit, task, name);
  if (name === "broken") return choiceEntry(field, place, { label, choices: BROKEN, help });
  return textEntry(field, place, { label, help, maxlength: longest ?? undefined });
}

async function keep(field, task) {
  const { visit } = field.view;
  const { put, problems } = answersOf(task, (name) => valueOf(field, placeOf(visit, task, name)));
  if (problems) {
    const places = Object.entries(problems).map(([name, text]) => [placeOf(visit, task, name), text]);
    return field.refuse(Object.fromEntries(places));
  }
  if (!put) return field.say("Nothing was typed, so nothing was kept.", "info");
  const done_on = forEntry(new Date(), field.zone).slice(0, 10);
  const [verb, of] = isRound(field.view)
    ? ["inspect_site", { site: visit.key }]
    : ["inspect", { visit: visit.key }];
  return field.act(verb, of, { ...put, done_on }, {
    words: `${task.place}: ${task.words}`,
    shows: { words: task.words, place: task.place, wants: task.wants }, // also once it is completed
    places: placesOf(visit, task),
  });
}

function noted(field, one) {
  const entry = field.entries.find(({ key, state }) => key === one.key && state === "waiting");
  const said = [...one.answers, one.note, one.reason].filter(Boolean);
  return [
    h("strong", one.words),
    h("br"),
    h("small", [one.place, one.by].filter(Boolean).join(" · ")),
    h("br"),
    h("strong", one.outcome_label),
    said.length ? `: ${said.join("; ")} ` : " ",
    onlyHere(one.pending),
    entry
      ? press("Open it again", () => reopen(field, entry), { kind: ".quiet", id: `open-${one.key}` })
      : null,
    one.inspection
      ? h("p", h("a", { href: `/inspections/${one.inspection}/` }, "Look at it, or correct it (needs signal)"))
      : null,
  ];
}

/** Back into its form, so that it is put right where it was typed. The drafts come first: whatever
 * stops this in between, nothing is lost. */
export async function reopen(field, entry) {
  const { visit, put } = entry;
  const places = textsOf(entry).map(([name, value]) => ({
    place: placeOf({ key: visit }, { key: put.duty }, name),
    visit,
    key: crypto.randomUUID(),
    opened: "",
    value,
  }));
  for (const draft of places) await field.store.keepDraft(draft);
  await field.store.mark([{ ...entry, state: "dropped" }]);
  field.visit = null; // the drafts are read anew with their day
  field.say("It is open again where it was typed, and is not kept until you keep it.");
  if (location.hash === `#/d/${visit}/inspect`) await field.draw();
  else field.go(`#/d/${visit}/inspect`);
}

/** For the screen of the day. */
export function inspections(view) {
  const { inspection, visit } = view;
  if (!inspection) return null;
  const due = tasksOf(view).filter(isAsked(view, new Date())).length;
  return [
    h("h2", "Inspections"),
    h(
      "p",
      h("a.big", { href: `#/d/${visit.key}/inspect` }, "Inspect"),
      ` ${due ? `${count(due, "task")} to do` : "nothing to do today"}, ${inspection.noted.length} noted`,
    ),
  ];
}

/** Before a test is handed in: it asks for none of these, but who leaves has not done them. */
export function stillDue(view) {
  const due = tasksOf(view).filter(isAsked(view, new Date()));
  if (!view.inspection?.may || !due.length) return null;
  return h(
    "section",
    { "aria-label": "Inspections that are not noted" },
    h("p", "Not part of this test, and not noted yet:"),
    h(
      "ul",
      due.map((task) => h("li", `${task.place}: ${task.words}`)),
    ),
    h("p", h("a", { href: `#/d/${view.visit.key}/inspect` }, "To the inspections")),
  );
}
