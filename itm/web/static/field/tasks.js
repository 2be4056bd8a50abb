// Tasks of a round of inspection: which are asked, what an answer says, and what is wrong with it.
// What makes a fault is the server's word. Pure, but for the clock that it is given.

import { parse, twoWays } from "./flow.js";
import { forEntry } from "./words.js";

const NOT_ANSWERS = new Set(["broken", "note", "reason"]);
export const YES = [
  ["", ""],
  ["yes", "Yes"],
  ["no", "No"],
];

/** The two deeds that note a task: on a visit, and on a round of the owner's own people. */
export const isInspection = ({ verb }) => verb === "inspect" || verb === "inspect_site";
/** A day without a visit, of the owner's own people: its key is that of the site. */
export const isRound = (view) => view.kind === "round";

export const placeOf = (visit, task, name) => `inspect:${visit.key}:${task.key}:${name}`;
export const placesOf = (visit, task) =>
  [...task.wants.map(({ key }) => `answer-${key}`), ...NOT_ANSWERS].map((name) =>
    placeOf(visit, task, name),
  );

/** A day that was taken along by an older page holds none. */
export const tasksOf = (view) => view.inspection?.tasks ?? [];
export const isAsked = (view, now) => {
  const today = forEntry(now, view.visit.site.time_zone).slice(0, 10);
  return (task) => task.opens_on <= today;
};

/** What an entry says of a task, over the day as it was sent. */
export function inspected({ view, rows, entry, put, at, person }) {
  const { inspection, visit } = view;
  if (!inspection || rows.has(entry.key)) return;
  const task = inspection.tasks.find(({ key }) => key === put.duty);
  const before = inspection.noted.find(({ duty }) => duty === put.duty);
  const said = task ?? before?.task ?? entry.shows;
  const made = {
    key: entry.key,
    duty: put.duty,
    task: said,
    words: said?.words ?? entry.words,
    place: said?.place ?? "",
    outcome: put.reason ? "not_possible" : "",
    outcome_label: put.reason ? "not possible" : "noted",
    answers: said ? labelled(said, put.answers) : put.answers,
    note: put.note ?? "",
    reason: put.reason ?? "",
    by: person.name,
    inspection: "",
    pending: entry.state !== "taken",
  };
  inspection.noted = [...inspection.noted.filter((one) => one !== before), made];
  rows.set(made.key, made);
  if (!task) return;
  if (put.reason) {
    const on = forEntry(at, visit.site.time_zone).slice(0, 10);
    task.not_possible = { on, reason: put.reason };
  } else inspection.tasks = inspection.tasks.filter((one) => one !== task);
}

const apart = (answer) => {
  const colon = answer.indexOf(":");
  return [answer.slice(0, colon), answer.slice(colon + 1).trim()];
};

/** Answers by the words of what is wanted, as the server tells them. */
export const labelled = (task, answers) =>
  answers.map((answer) => {
    const [key, text] = apart(answer);
    const want = task.wants.find((one) => one.key === key);
    if (!want) return answer;
    const said = want.kind === "photo" ? "photo" : [text, want.unit].filter(Boolean).join(" ");
    return `${want.label}: ${said}`;
  });

/** The texts of a form by its names, from those of an entry. */
export function textsOf({ put }) {
  const texts = Object.fromEntries([...NOT_ANSWERS].map((name) => [name, put[name] ?? ""]));
  for (const answer of put.answers) {
    const [key, text] = apart(answer);
    texts[`answer-${key}`] = text;
  }
  return Object.entries(texts).filter(([, text]) => text);
}

/** `typed` gives the text of a name. Either `put`, or `problems` by name; neither where nothing was
 * typed. In the words of itm/records/wants.py and inspecting.py. */
export function answersOf(task, typed) {
  const answered = task.wants
    .map((want) => ({ ...want, text: typed(`answer-${want.key}`).trim() }))
    .filter(({ text }) => text);
  const [broken, note, reason] = [...NOT_ANSWERS].map((name) => typed(name).trim());
  if (!answered.length && !broken && !note && !reason) return {};
  const problems = reason
    ? withReason(answered.length > 0 || broken !== "")
    : Object.assign({}, ...task.wants.map((want) => wrong(want, typed)));
  if (Object.keys(problems).length) return { problems };
  const answers = answered.map(({ key, text }) => `${key}: ${text}`);
  return { put: { duty: task.key, answers, broken, note, reason } };
}

const withReason = (done) =>
  done
    ? {
        reason:
          "Either it was done or it was not possible: empty the answers and the tick, or the reason.",
      }
    : {};

function wrong({ key, label, kind, optional }, typed) {
  const [name, text] = [`answer-${key}`, typed(`answer-${key}`).trim()];
  if (!text)
    return optional
      ? {}
      : { [name]: `“${label}” is not answered. Leave a task empty as a whole or fill it.` };
  if (kind !== "number") return {};
  const problem = twoWays(text) ?? parse(text, `“${label}”`).problem;
  return problem ? { [name]: problem } : {};
}

/** A draft in words. */
export function draftWords(field, { place, visit, value }) {
  const [, , key, name] = place.split(":");
  const { inspection } = field.days.find((one) => one.key === visit)?.day ?? {};
  const task = inspection?.tasks.find((one) => one.key === key);
  const want = task?.wants.find((one) => `answer-${one.key}` === name);
  const label = want?.label ?? inspection?.closing.find((one) => one.name === name)?.label ?? name;
  const text = want?.kind === "photo" ? "photo" : value.trim() || "emptied";
  return `${task?.words ?? "A task"}: ${label}: ${text}`;
}
