// What is measured of a bottle: the entries of its properties, and what is wrong with a typed value.

import { h } from "./dom.js";
import { quantityEntry, textEntry, valueOf } from "./entering.js";
import { quantity } from "./flow.js";

export const inForce = (sample) => sample.values.filter((one) => !one.set_aside_reason);

/** Properties of which a bottle has no value yet. */
export function freeOf(field, sample) {
  const there = new Set(inForce(sample).map((one) => one.property));
  return field.view.properties.filter((one) => !there.has(one.name));
}

// `of` keeps apart what the crew measures and what a paper says of the same bottle.
const placeOf = (sample, name, of) => `${of}value:${sample.key}:${name}`;
const warmthOf = (sample, name, of) => `${of}warmth:${sample.key}:${name}`;

export const placesOf = (sample, { name }, of = "") => [
  placeOf(sample, name, of),
  warmthOf(sample, name, of),
];

export function valueEntry(field, check, sample, property, of = "") {
  const { name, heading, units } = property;
  const beside = check.held_against[name] ?? [];
  const help = beside.length
    ? `Held against ${beside.join("; ")}.`
    : `Such as ${property.example}.`;
  const named = Object.keys(units).some(Boolean);
  const place = placeOf(sample, name, of);
  return h(
    "div.measures",
    named
      ? quantityEntry(field, place, { label: heading, units, kind: name, help })
      : textEntry(field, place, { label: heading, inputmode: "decimal", maxlength: 20, help }),
    property.at_temperature
      ? textEntry(field, warmthOf(sample, name, of), {
          label: `Temperature of the ${property.words}, °C`,
          inputmode: "decimal",
          maxlength: 20,
          optional: false,
          help: "Index and density count within 1 °C of the 20 °C of certificates.",
        })
      : null,
  );
}

/** What is wrong with a value as typed, or nothing; in the words of itm/intake/concentrate.py. */
export function wrongValue(property, typed) {
  const read = quantity(typed, property.units, "This value");
  if (read.problem) return read.problem;
  const { lowest, highest, lowest_itself: itself } = property;
  const low = itself ? read.si >= Number(lowest) : read.si > Number(lowest);
  return low && read.si <= Number(highest)
    ? null
    : `${typed} is no ${property.words} of a concentrate: it is ${property.range}.`;
}

/** Those of a bottle that something was typed for. */
export function typedValues(field, sample, properties, of = "") {
  return properties
    .map((property) => ({
      property,
      place: placeOf(sample, property.name, of),
      warmth: warmthOf(sample, property.name, of),
    }))
    .map((one) => ({ ...one, value: valueOf(field, one.place).trim() }))
    .filter((one) => one.value);
}

/** Sentences by place. */
export function wrongValues(field, typed) {
  const problems = {};
  for (const { property, place, warmth, value } of typed) {
    const wrong = wrongValue(property, value);
    if (wrong) problems[place] = wrong;
    if (property.at_temperature && !valueOf(field, warmth).trim())
      problems[warmth] = `Without its temperature the ${property.words} says nothing.`;
  }
  return problems;
}
