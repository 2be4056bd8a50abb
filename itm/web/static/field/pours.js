// Standards: what to pour for each, and what was really poured.

import { h, notice, num, onlyHere } from "./dom.js";
import { changes, press, textEntry, valueOf } from "./entering.js";
import { parse, quantity } from "./flow.js";
import { nextStandard } from "./labels.js";
import { massPercent, measureOf, percentOf, recipeOf } from "./weighing.js";

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
  const { density } = field.view.units;
  return h(
    "section",
    { "aria-labelledby": "recipe" },
    h("h2", { id: "recipe" }, "Standards"),
    open ? how(bench) : null,
    standards.map((bottle) => pour(field, bench, bottle, open, density)),
  );
}

function how(bench) {
  const batch = num(`${bench.batch_volume_ml} mL`);
  if (bench.standards_by !== "mass") {
    return h(
      "p",
      "For ",
      batch,
      " each: measure the concentrate, then fill up with test water ",
      h("strong", "to the mark"),
      ". Concentrate added to a full batch of water makes it too weak. Write down what was really poured. A thick concentrate stays in a pipette: say below, under how the bench is read, that standards are weighed.",
    );
  }
  const known = (bench.known_densities ?? []).join("; ");
  return [
    h(
      "p",
      "For about ",
      batch,
      " each: weigh the syringe or beaker before and after, so that what sticks to it does not count; then add test water on the scale. Stir slowly until no strings show. Write down what was really weighed.",
    ),
    h(
      "p",
      "Density of the concentrate: ",
      bench.density ? num(bench.density) : "not written yet",
      bench.density && bench.density_at ? [" at ", num(bench.density_at)] : null,
      ". Write it below, under how the bench is read.",
      known ? ` Known: ${known}.` : "",
    ),
  ];
}

const ONE_TO_ONE = { mL: 1, g: 1 };
const LIQUIDS = ["concentrate", "water"];

/** What is wrong with one amount, in a sentence, or nothing. */
function amountProblem(text, what, { unit, word }) {
  const named = `The ${what} ${word}`;
  if (!text.trim()) return `${named} is missing; write both as really measured, in ${unit}.`;
  const read = parse(text, named);
  const problem = read.problem ?? quantity(`${text} ${unit}`, ONE_TO_ONE).problem;
  if (problem) return problem;
  return read.value < 0 || read.value > 100_000
    ? `${named} is ${text} ${unit}; write 0 ${unit} or more.`
    : "";
}

function pour(field, bench, bottle, open, densities) {
  const prefix = `bottle:${bottle.key}`;
  const measure = measureOf(bench, bottle);
  const { names, unit, verb, done } = measure;
  const made = percentOf(bench, bottle, densities);
  const keep = () => {
    const { put, opened, places } = changes(field, prefix, bottle, names);
    if (!Object.keys(put).length)
      return field.say("Nothing was changed, so nothing was kept.", "info");
    const stands = Object.fromEntries(names.map((name) => [name, bottle[name]]));
    const both = { ...stands, ...put };
    const problems = {};
    if (names.some((name) => both[name].trim())) {
      names.forEach((name, i) => {
        const problem = amountProblem(both[name], LIQUIDS[i], measure);
        if (problem) problems[`${prefix}:${name}`] = problem;
      });
    }
    if (Object.keys(problems).length) return field.refuse(problems);
    return field.act(verb, { bottle: bottle.key }, both, {
      words: `${measure.words} of ${bottle.label}`,
      opened: { ...stands, ...opened },
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
  const recipe = recipeOf(bench, bottle, densities);
  const byMass = made === null ? massPercent(bottle) : null;
  return h(
    "div.pour",
    { id: `pour-${bottle.key}` },
    h("h3", bottle.label, h("small", ` for ${bottle.target_percent} % `), onlyHere(bottle.pending)),
    recipe
      ? h(
          "p",
          num(`${recipe.concentrate} ${unit}`),
          unit === "g" ? " concentrate and " : " concentrate, water to the mark ",
          unit === "g"
            ? [num(`${recipe.water} g`), " water"]
            : h("small", "(", num(`${recipe.water} mL`), ")"),
        )
      : null,
    open
      ? h(
          "div.pair",
          LIQUIDS.map((what, i) => entry(names[i], `${what} ${done}, ${unit}`)),
        )
      : h(
          "p",
          num(bottle[names[0]] || "not written"),
          " concentrate, ",
          num(bottle[names[1]] || "not written"),
          ` water, ${unit}`,
        ),
    h("p", made === null ? "" : ["Made: ", num(`${made.toFixed(2)} %`)]),
    byMass === null
      ? null
      : notice(
          `${byMass.toFixed(2)} % by mass; by volume it is not known before the bench has the density of the concentrate and its temperature.`,
          "warning",
        ),
    notice(pourDoubt(bench, bottle, made)),
    open
      ? h(
          "div.press",
          press(`Keep ${measure.words.toLowerCase()} of ${bottle.label}`, keep, {
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
    bottle.water_ml &&
    parse(bottle.water_ml).value === Number(bench.batch_volume_ml) &&
    parse(bottle.concentrate_ml).value
  ) {
    return `${bottle.water_ml} mL is the whole batch: was the concentrate added to it instead of filling up to the mark? As written this is ${made.toFixed(2)} %, which is fine if it is what was poured.`;
  }
  return Math.abs(made - wanted) > 0.1 * wanted
    ? `As written this is ${made.toFixed(2)} %, not near ${bottle.target_percent} %. Fine if it is what was poured; else correct it.`
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
    const label = nextStandard(field.view.benches.find((one) => one.key === test.bench));
    return field.act(
      "add_standard",
      { test: test.key },
      { target_percent: read.text, label },
      { words: `Standard ${label} for ${read.text} % added`, key: field.draft(place).key, places: [place] },
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
