// Standards: what to pour for each, and what was really poured.

import { h, notice, num, onlyHere } from "./dom.js";
import { changes, press, textEntry, valueOf } from "./entering.js";
import { parse, quantity } from "./flow.js";

/** Percent of a bottle where it is known: what was really poured. */
export function percentOf(bottle) {
  if (bottle.role === "water") return 0;
  if (bottle.role !== "standard") return null;
  const [concentrate, water] = [bottle.concentrate_ml, bottle.water_ml].map((text) =>
    text ? parse(text).value : NaN,
  );
  const percent = (100 * concentrate) / (concentrate + water);
  return Number.isFinite(percent) ? percent : null;
}

export function settingOut(field, test) {
  return h(
    "div.empty",
    h("p", "This bench has no bottles for water, standards and undiluted concentrate yet."),
    press(
      "Set out water, standards and concentrate",
      () => field.act("set_out_bench", { test: test.key }, {}, { words: "Bench set out" }),
      { id: "set-out" },
    ),
  );
}

export function pours(field, bench, standards, open) {
  return h(
    "section",
    { "aria-labelledby": "recipe" },
    h("h2", { id: "recipe" }, "Standards"),
    open
      ? h(
          "p",
          "For ",
          num(`${bench.batch_volume_ml} mL`),
          " each: measure the concentrate, then fill up with test water ",
          h("strong", "to the mark"),
          ". Concentrate added to a full batch of water makes it too weak. Write down what was really poured.",
        )
      : null,
    standards.map((bottle) => pour(field, bench, bottle, open)),
  );
}

const PERCENT = { mL: 1 };

function pour(field, bench, bottle, open) {
  const prefix = `bottle:${bottle.key}`;
  const made = percentOf(bottle);
  const keep = () => {
    const { put, opened, places } = changes(field, prefix, bottle, ["concentrate_ml", "water_ml"]);
    if (!Object.keys(put).length)
      return field.say("Nothing was changed, so nothing was kept.", "info");
    const both = { concentrate_ml: bottle.concentrate_ml, water_ml: bottle.water_ml, ...put };
    const problems = {};
    for (const [name, what] of [
      ["concentrate_ml", "concentrate"],
      ["water_ml", "water"],
    ]) {
      if (!both[name].trim())
        problems[`${prefix}:${name}`] =
          `The ${what} volume is missing; write both volumes as really measured, in mL.`;
      else {
        const read = parse(both[name], `The ${what} volume`);
        if (read.problem ?? quantity(`${both[name]} mL`, PERCENT).problem)
          problems[`${prefix}:${name}`] =
            read.problem ?? quantity(`${both[name]} mL`, PERCENT).problem;
        else if (read.value < 0 || read.value > 100_000)
          problems[`${prefix}:${name}`] =
            `The ${what} volume is ${both[name]} mL; write 0 mL or more.`;
      }
    }
    if (!both.concentrate_ml.trim() && !both.water_ml.trim())
      for (const place of places) delete problems[place];
    if (Object.keys(problems).length) return field.refuse(problems);
    const before = { concentrate_ml: bottle.concentrate_ml, water_ml: bottle.water_ml, ...opened };
    return field.act("set_volumes", { bottle: bottle.key }, both, {
      words: `Volumes of ${bottle.label}`,
      opened: before,
      places,
    });
  };
  const entry = (name, label) =>
    textEntry(field, `${prefix}:${name}`, {
      label: `${bottle.label}, ${label}`,
      was: bottle[name],
      inputmode: "decimal",
      maxlength: 20,
      optional: false,
    });
  return h(
    "div.pour",
    { id: `pour-${bottle.key}` },
    h("h3", bottle.label, h("small", ` for ${bottle.target_percent} % `), onlyHere(bottle.pending)),
    bottle.recipe
      ? h(
          "p",
          num(`${bottle.recipe.concentrate} mL`),
          " concentrate, water to the mark ",
          h("small", "(", num(`${bottle.recipe.water} mL`), ")"),
        )
      : null,
    open
      ? h(
          "div.pair",
          entry("concentrate_ml", "concentrate poured, mL"),
          entry("water_ml", "water poured, mL"),
        )
      : h(
          "p",
          num(bottle.concentrate_ml || "not written"),
          " concentrate, ",
          num(bottle.water_ml || "not written"),
          " water, mL",
        ),
    h("p", made === null ? "" : ["Made: ", num(`${made.toFixed(2)} %`)]),
    notice(pourDoubt(bench, bottle, made)),
    open
      ? h(
          "div.press",
          press(`Keep volumes of ${bottle.label}`, keep, {
            kind: ".outline",
            id: `pour-keep-${bottle.key}`,
          }),
        )
      : null,
    open && !bottle.readings.length ? withdrawing(field, bottle) : null,
  );
}

function pourDoubt(bench, bottle, made) {
  if (made === null || !bottle.target_percent) return "";
  const wanted = Number(bottle.target_percent);
  if (
    parse(bottle.water_ml).value === Number(bench.batch_volume_ml) &&
    parse(bottle.concentrate_ml).value
  ) {
    return `${bottle.water_ml} mL is the whole batch: was the concentrate added to it instead of filling up to the mark? As written this is ${made.toFixed(2)} %, which is fine if it is what was poured.`;
  }
  return Math.abs(made - wanted) > 0.1 * wanted
    ? `As written this is ${made.toFixed(2)} %, not near ${bottle.target_percent} %. Fine if it is what was poured; else correct the volumes.`
    : "";
}

function withdrawing(field, bottle) {
  const place = `withdraw:${bottle.key}`;
  const gone = () => {
    const reason = valueOf(field, place).trim();
    if (!reason) return field.refuse({ [place]: `Say why ${bottle.label} is withdrawn.` });
    return field.act(
      "withdraw_standard",
      { bottle: bottle.key },
      { reason },
      { words: `${bottle.label} withdrawn`, places: [place] },
    );
  };
  return h(
    "details",
    { id: `out-${bottle.key}` },
    h("summary", `Withdraw ${bottle.label}`),
    textEntry(field, place, { label: "Why it is withdrawn", optional: false, maxlength: 200 }),
    press("Withdraw it", gone, { kind: ".outline", id: `withdraw-${bottle.key}` }),
  );
}

export function oneMore(field, test) {
  const place = `standard:${test.key}`;
  const add = () => {
    const read = parse(valueOf(field, place), "This percent");
    const wrong =
      read.problem ??
      (read.value > 0 && read.value <= 100
        ? ""
        : "Write a percent above 0, at most 100; water and undiluted concentrate have bottles of their own.");
    if (wrong) return field.refuse({ [place]: wrong });
    return field.act(
      "add_standard",
      { test: test.key },
      { target_percent: read.text },
      { words: `Standard for ${read.text} % added`, key: field.draft(place).key, places: [place] },
    );
  };
  const there = field.view.benches
    .find((one) => one.key === test.bench)
    .bottles.some((one) => one.role === "system_water");
  return h(
    "details",
    { id: "one-more" },
    h("summary", "Another standard or another water"),
    textEntry(field, place, {
      label: "Percent wanted",
      inputmode: "decimal",
      maxlength: 20,
      optional: false,
    }),
    press("Add the standard", add, { kind: ".outline", id: "add-standard" }),
    there
      ? null
      : [
          h(
            "p",
            "Was the system fed with another water than the standards, from a pond or a fire tank?",
          ),
          press(
            "Read that water too",
            () =>
              field.act(
                "add_system_water",
                { test: test.key },
                {},
                { words: "Water of the system added" },
              ),
            { kind: ".outline", id: "add-water" },
          ),
        ],
  );
}
