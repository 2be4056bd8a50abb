// Entries of a form that live in drafts: each keystroke stays, whatever happens to the page.

import { h, field as labelled } from "./dom.js";
import { apart } from "./flow.js";

/** What stands in an entry now: what was typed, or what the day has. */
export function valueOf(field, place, was = "") {
  return field.draft(place)?.value ?? was;
}

/** Entries of one row that were changed: { name: value } and what stood there before. */
export function changes(field, prefix, row, names) {
  const put = {};
  const opened = {};
  for (const name of names) {
    const draft = field.draft(`${prefix}:${name}`);
    if (!draft || draft.value === (row[name] ?? "")) continue;
    put[name] = draft.value.trim();
    opened[name] = draft.opened;
  }
  return { put, opened, places: names.map((name) => `${prefix}:${name}`) };
}

export function textEntry(
  field,
  place,
  { label, was = "", help, optional = true, long = false, hint, type = "text", ...rest },
) {
  const control = h(long ? "textarea" : "input", {
    ...(long ? { rows: 3 } : { type }),
    autocomplete: "off",
    ...rest,
    value: valueOf(field, place, was),
    list: hint && `${idOf(place)}-hints`,
    oninput: (event) => field.type(place, event.target.value, was),
  });
  return [
    labelled({ id: idOf(place), label, help, optional, error: field.problems.get(place), control }),
    hint &&
      h(
        "datalist",
        { id: `${idOf(place)}-hints` },
        hint.map((text) => h("option", { value: text })),
      ),
  ];
}

export function choiceEntry(field, place, { label, was = "", choices, help, optional = true }) {
  const now = valueOf(field, place, was);
  const options = choices.map(([value, text]) =>
    h("option", { value, selected: value === now }, text),
  );
  const control = h(
    "select",
    { onchange: (event) => field.type(place, event.target.value, was) },
    options,
  );
  return labelled({
    id: idOf(place),
    label,
    help,
    optional,
    error: field.problems.get(place),
    control,
  });
}

/** Any number of choices; as text each on its own line. */
export function choicesEntry(field, place, { label, was = "", choices, help }) {
  const chosen = () => new Set(valueOf(field, place, was).split("\n").filter(Boolean));
  const error = field.problems.get(place);
  const put = (value) => (event) => {
    const now = chosen();
    if (event.target.checked) now.add(value);
    else now.delete(value);
    const kept = choices.map(([one]) => one).filter((one) => now.has(one));
    field.type(place, kept.join("\n"), was);
  };
  return h(
    "fieldset",
    { id: idOf(place) },
    h("legend", label),
    help && h("small.help", help),
    choices.map(([value, words]) =>
      h(
        "label.tick",
        h("input", {
          type: "checkbox",
          id: `${idOf(place)}-${value}`,
          checked: chosen().has(value),
          onchange: put(value),
        }),
        words,
      ),
    ),
    error && h("p.error", error),
  );
}

/** A number beside its unit; the unit that this person used last is offered first. */
export function quantityEntry(
  field,
  place,
  { label, was = "", units, kind, help, optional = true },
) {
  const names = Object.keys(units);
  const [number, unit] = apart(valueOf(field, place, was), names);
  const chosen = unit || lastUnit(kind, names);
  const put = () => {
    const [input, select] = pair.children;
    field.type(place, input.value.trim() ? `${input.value.trim()} ${select.value}` : "", was);
  };
  const pair = h(
    "span.quantity",
    h("input", {
      type: "text",
      inputmode: "decimal",
      autocomplete: "off",
      maxlength: 20,
      value: number,
      oninput: put,
    }),
    h(
      "select",
      {
        "aria-label": `${label}, unit`,
        id: `${idOf(place)}-unit`,
        onchange: (event) => {
          keepUnit(kind, event.target.value);
          put();
        },
      },
      names.map((name) => h("option", { value: name, selected: name === chosen }, name)),
    ),
  );
  return labelled({
    id: idOf(place),
    label,
    help,
    optional,
    error: field.problems.get(place),
    control: pair,
  });
}

/** An entry of what the day asks (itm/doors/asked.py), by its kind. */
export function askedEntry(field, place, asked, was = "") {
  const { name, label, help, kind, choices, longest, needed } = asked;
  const optional = !needed;
  const units = field.view.units[kind];
  if (kind === "choices") return choicesEntry(field, place, { label, was, choices, help });
  if (choices.length) return choiceEntry(field, place, { label, was, choices, help, optional });
  if (!units)
    return textEntry(field, place, {
      label,
      was,
      help,
      optional,
      type: kind === "day" ? "date" : "text",
      maxlength: longest ?? undefined,
    });
  // A level is read off its own scale, whatever a vessel was measured with.
  const own = name.startsWith("level_") ? "level" : kind;
  return quantityEntry(field, place, { label, was, units, kind: own, help, optional });
}

const UNITS = "itm-field-units"; // one device is one pair of hands

function units() {
  try {
    return JSON.parse(localStorage.getItem(UNITS) || "{}");
  } catch {
    return {};
  }
}

function lastUnit(kind, names) {
  const last = units()[kind];
  return names.includes(last) ? last : names[0];
}

function keepUnit(kind, unit) {
  localStorage.setItem(UNITS, JSON.stringify({ ...units(), [kind]: unit }));
}

export const idOf = (place) => place.replaceAll(":", "-");

/** A press of at least 56 px. A second press within a moment is the same press. */
export function press(label, act, { kind = "", id, disabled = false } = {}) {
  const button = h(
    `button${kind}`,
    {
      type: "button",
      id,
      disabled,
      onclick: async () => {
        if (button.disabled) return;
        button.disabled = true;
        try {
          await act();
        } finally {
          button.disabled = disabled;
        }
      },
    },
    label,
  );
  return button;
}
