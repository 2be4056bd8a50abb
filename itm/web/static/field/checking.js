// What is known of a concentrate check as it begins and later, over the day as it was sent. What it is
// held against the server works out once it has come in: the book of the tank stands there.

import { day } from "./words.js";

/** A day that was taken along by an older page holds none. */
export const tanksOf = (view) => view.checking?.tanks ?? [];

const wordsOf = (view, name, value) =>
  view.checking?.begin_check
    .find((one) => one.name === name)
    ?.choices.find(([one]) => one === value)?.[1] ?? value;

export function checkBegun({ view, rows, row: tank, entry, put }) {
  if (rows.has(entry.key)) return;
  const made = {
    key: entry.key,
    tank: tank.tag,
    notes: "",
    ...put,
    checked_on: put.checked_on,
    programmes: (put.programmes ?? []).join("\n"),
    state: "draft",
    state_label: "draft",
    may: { write: true, hand_in: view.may.hand_in },
    closed: "",
    labels_taken: [],
    held_against: {},
    samples: [],
    reports: [],
    tank_key: tank.key,
    pending: entry.state !== "taken",
  };
  view.checks.push(shownAs(view, made));
  rows.set(made.key, made);
}

export function checkNoted({ view, row, put }) {
  const list = put.programmes ? { programmes: put.programmes.join("\n") } : {};
  shownAs(view, Object.assign(row, put, list));
}

function shownAs(view, check) {
  const circulated = textsOf(check).circulated === "True";
  const tank = tanksOf(view).find((one) => one.key === check.tank_key || one.tag === check.tank);
  const points = circulated ? tank?.points_circulated : tank?.usual_points;
  return Object.assign(check, {
    circulated,
    purpose_label: wordsOf(view, "purpose", check.purpose),
    usual_points: points ?? check.usual_points,
  });
}

/** As the forms hold them. */
export const textsOf = (check) => ({
  ...check,
  circulated: [true, "True"].includes(check.circulated) ? "True" : "False",
});

/** A bottle that is sent away is no result. */
export function underWay(sample) {
  const { sent_on: on, laboratory } = sample;
  const answered = sample.values.some(({ origin }) => origin === "laboratory");
  sample.under_way = on && !answered ? `under way to ${laboratory} since ${day(on)}` : "";
}
