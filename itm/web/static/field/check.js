// A concentrate check: bottles at their points, what was measured of each beside what it is held
// against, and the hand-in. Begun without signal, it is told what that is once the server has it.

import { h, caution, empty, notice, num, onlyHere } from "./dom.js";
import { notingCheck, onItsWay } from "./begin.js";
import { choiceEntry, press, textEntry, valueOf } from "./entering.js";
import { papersPart } from "./papers.js";
import { photoPart, photosOf } from "./photos.js";
import { freeOf, inForce, typedValues, valueEntry, wrongValues } from "./values.js";
import { elsewhere } from "./result.js";
import { count, day, instant } from "./words.js";

const standing = (sample) => !sample.withdrawn_reason;

export function checkScreen(field, check) {
  const { view } = field;
  const writes = check.may.write && !check.closed && !check.handing_in;
  const used = check.samples.filter(standing);
  return [
    h("h1", `Concentrate of ${check.tank}`),
    h(
      "p.lead",
      `${check.purpose_label}, bottles of ${day(check.checked_on)} · ${check.state_label}`,
    ),
    check.closed ? notice(check.closed) : null,
    writes ? caution(view.cautions.tank) : null,
    h("h2", "Bottles ", onlyHere(check.pending)),
    used.length ? null : empty("No bottle is noted yet: note each with its point in the tank."),
    used.map((sample) => bottle(field, check, sample, writes)),
    writes ? [adding(field, check), notingCheck(field, check)] : null,
    withdrawn(field, check, writes),
    papersPart(field, check, writes),
    handIn(field, check),
  ];
}

// Bottles ----------------------------------------------------------------------------------------

/** What stands on a bottle already: in whatever day lies on this device, by what the server said of
 * bottles that lie in none, and by what was noted here, whichever day it was noted in. */
function labelsTaken(field) {
  const checks = field.days.flatMap((held) => held.day.checks ?? []);
  const noted = field.entries.filter(({ verb }) => verb === "add_check_sample");
  return new Set([
    ...checks.flatMap((one) => one.samples.map(({ label }) => label)),
    ...checks.flatMap((one) => one.labels_taken ?? []), // a copy from before has none
    ...noted.map(({ put }) => put.label),
  ]);
}

/** Tank, day and point as everywhere in the product, with a number where that is taken. */
function proposedLabel(check, point, taken) {
  const short = check.checked_on.slice(2).replaceAll("-", "");
  const base = `${check.tank.slice(0, 20)} ${short} ${point}`.slice(0, 36);
  let label = base;
  for (let number = 2; taken.has(label); number += 1) label = `${base} ${number}`;
  return label;
}

function nextPoint(check) {
  const filled = new Set(check.samples.filter(standing).map((one) => one.point));
  return check.usual_points.find((one) => !filled.has(one)) ?? check.usual_points[0];
}

function adding(field, check) {
  const places = ["point", "label", "look"].map((name) => `bottle:${check.key}:${name}`);
  const point = valueOf(field, places[0], nextPoint(check));
  const taken = labelsTaken(field);
  const proposed = proposedLabel(check, point, taken);
  const add = () => {
    const label = valueOf(field, places[1], proposed).trim();
    if (!label) return field.refuse({ [places[1]]: "Write what stands on the bottle." });
    if (taken.has(label)) {
      return field.refuse({
        [places[1]]: `“${label}” is a bottle already: a laboratory tells bottles by their label alone.`,
      });
    }
    return field.act(
      "add_check_sample",
      { check: check.key },
      { point, label, look: valueOf(field, places[2]).trim() },
      { words: `Bottle ${label}`, places },
    );
  };
  const points = choiceEntry(field, places[0], {
    label: "Point of the tank",
    was: point,
    choices: field.view.points,
    optional: false,
  });
  // The proposed label names the point, so it is drawn anew with another one.
  points.querySelector("select").addEventListener("change", () => field.draw());
  return h(
    "section.form-narrow",
    h("h3", "Note a bottle"),
    points,
    textEntry(field, places[1], {
      label: "Label",
      was: proposed,
      maxlength: 40,
      optional: false,
      help: "As it stands on the bottle; the laboratory tells bottles by nothing else.",
    }),
    textEntry(field, places[2], {
      label: "Look and smell",
      maxlength: 200,
      help: "Colour, layers, skin, strings, sediment.",
    }),
    h("div.do", press("Note the bottle", add, { id: `add-${check.key}` })),
  );
}

function bottle(field, check, sample, writes) {
  const { zone } = field;
  const photo = { sample: sample.key };
  return h(
    "section.bottle",
    { "aria-label": sample.label },
    h("h3", `${sample.label} `, onlyHere(sample.pending)),
    h(
      "p",
      `${sample.point_label}, `,
      num(instant(sample.taken_at, zone)),
      sample.look ? `, ${sample.look}` : "",
    ),
    sample.under_way ? notice(sample.under_way) : null,
    h(
      "ul.plain",
      sample.values.map((value) => measured(field, value, writes)),
    ),
    writes ? [entering(field, check, sample), onItsWay(field, sample)] : null,
    writes ? h("p", photoPart(field, photo, sample.label), " ", photosOf(field, photo)) : null,
    writes ? withdrawing(field, sample) : null,
  );
}

function withReason(field, id, label, help, act) {
  const place = `why:${id}`;
  const go = () => {
    const reason = valueOf(field, place).trim();
    if (!reason) return field.refuse({ [place]: "Say why; it stays to be read with this." });
    return act(reason, [place]);
  };
  return h(
    "details",
    { id: `because-${id}` },
    h("summary", label),
    textEntry(field, place, { label: "Why", maxlength: 200, optional: false, help }),
    press(label, go, { kind: ".outline", id: `do-${id}` }),
  );
}

function withdrawing(field, sample) {
  return withReason(
    field,
    sample.key,
    `Withdraw ${sample.label}`,
    "It stays with this beside it and counts for nothing.",
    (reason, places) =>
      field.act(
        "withdraw_check_sample",
        { sample: sample.key },
        { reason },
        { words: `${sample.label} withdrawn`, places },
      ),
  );
}

function withdrawn(field, check, writes) {
  return check.samples
    .filter((one) => !standing(one))
    .map((sample) =>
      h(
        "div.withdrawn",
        h("span", h("s", sample.label), ` withdrawn: ${sample.withdrawn_reason}`),
        writes
          ? press(
              `Bring back ${sample.label}`,
              () =>
                field.act(
                  "bring_back_check_sample",
                  { sample: sample.key },
                  {},
                  {
                    words: `${sample.label} brought back`,
                    opened: { withdrawn_reason: sample.withdrawn_reason },
                  },
                ),
              { kind: ".quiet", id: `back-${sample.key}` },
            )
          : null,
      ),
    );
}

// Values -----------------------------------------------------------------------------------------

const known = (field, name) => field.view.properties.find((one) => one.name === name);

function measured(field, value, writes) {
  const { heading } = known(field, value.property);
  const warm = value.temperature ? ` at ${value.temperature} °C` : "";
  const text = [`${heading}: `, num(value.value), warm];
  if (value.set_aside_reason) {
    return h(
      "li",
      h("s", text),
      ` set aside: ${value.set_aside_reason} `,
      onlyHere(value.pending),
      writes
        ? press(
            "Bring it back",
            () =>
              field.act(
                "bring_back_value",
                { value: value.key },
                {},
                {
                  words: `${heading} counts again`,
                  opened: { set_aside_reason: value.set_aside_reason },
                },
              ),
            { kind: ".quiet", id: `back-${value.key}` },
          )
        : null,
    );
  }
  return h(
    "li",
    text,
    " ",
    onlyHere(value.pending),
    value.by_paper ? ` with report ${value.by_paper}` : null,
    writes && !value.by_paper
      ? withReason(
          field,
          value.key,
          `Set aside: ${heading} ${value.value}`,
          "It stays with this beside it; another can stand in its place.",
          (reason, places) =>
            field.act(
              "set_aside_value",
              { value: value.key },
              { reason },
              { words: `${heading} set aside`, places },
            ),
        )
      : null,
  );
}

function entering(field, check, sample) {
  const free = freeOf(field, sample);
  return h(
    "details",
    { id: `measure-${sample.key}` },
    h("summary", "Enter what was measured"),
    free.map((property) => valueEntry(field, check, sample, property)),
    h(
      "div.do",
      press("Keep what was measured", () => keep(field, sample, free), {
        id: `keep-${sample.key}`,
      }),
    ),
  );
}

async function keep(field, sample, free) {
  const typed = typedValues(field, sample, free);
  if (!typed.length) return field.say("Nothing was typed, so nothing was kept.", "info");
  const problems = wrongValues(field, typed);
  if (Object.keys(problems).length) return field.refuse(problems);
  for (const { property, place, warmth, value } of typed) {
    await field.act(
      "add_value",
      { sample: sample.key },
      { property: property.name, value, temperature: valueOf(field, warmth).trim() },
      {
        words: `${property.heading} of ${sample.label}`,
        key: field.draft(place).key,
        places: [place, warmth],
        quiet: true,
      },
    );
  }
  return field.say(`${count(typed.length, "value")} of ${sample.label}: kept on this device.`);
}

// Hand in ----------------------------------------------------------------------------------------

/** What certainly stands in the way; the server looks at the whole check once more. */
function missing(check) {
  const used = check.samples.filter(standing);
  if (!used.length) return ["No bottle is noted."];
  return used.flatMap((sample) => {
    if (sample.under_way)
      return [`${sample.label} is ${sample.under_way}: sending it away is no result.`];
    return inForce(sample).length ? [] : [`Nothing is entered of ${sample.label}.`];
  });
}

function handIn(field, check) {
  if (check.closed) return null;
  const left = missing(check);
  return [
    h("h2", "Hand in"),
    check.handing_in
      ? notice(
          "Handed in on this device. It reaches the server with the next signal; only then it is handed in, and the server may ask for more.",
        )
      : null,
    check.may.hand_in && !check.handing_in ? elsewhere(field.view) : null,
    check.may.hand_in && !check.handing_in
      ? left.length
        ? [
            h("p", "Before this check can be handed in:"),
            h(
              "ul",
              left.map((words) => h("li", words)),
            ),
          ]
        : h(
            "div.do",
            press(
              "Hand in",
              () =>
                field.act(
                  "hand_in_check",
                  { check: check.key },
                  {},
                  { words: `Hand in the check of ${check.tank}` },
                ),
              { id: "hand-in-check" },
            ),
          )
      : null,
    h(
      "p.do",
      h("a", { href: `/checks/${check.key}/` }, "Limits, strength and bottles sent (needs signal)"),
    ),
  ];
}
