// Any number of outlets read by pitot, their sum worked out on the spot. What was typed is kept
// outlet by outlet, because a sum alone could not be checked later; the server adds up again.

import { h, num } from "./dom.js";
import { choiceEntry, press, quantityEntry, valueOf } from "./entering.js";
import { COEFFICIENTS, DIAMETERS, outletFlow, sumText } from "./flow.js";

const MOST = 40; // outlets, own choice: more than any header has

export function pitotPart(field, run) {
  const { units } = field.view;
  const many = Math.min(
    MOST,
    Math.max(1, Number(valueOf(field, `pitot:${run.key}:count`, "1")) || 1),
  );
  const read = Array.from({ length: many }, (_, i) => outlet(field, run, i));
  const flows = read.filter((one) => one.flow !== undefined).map((one) => one.flow);
  const text = sumText(flows, run.flow_typed, units.flow);
  return h(
    "details.pitot",
    { id: `pitot-${run.key}` },
    h("summary", "Flow by pitot at open outlets"),
    read.map((one, i) => entries(field, run, i, one)),
    h(
      "div.press",
      press("One more outlet", () => more(field, run, many + 1), {
        kind: ".outline",
        id: `more-${run.key}`,
      }),
      many > 1
        ? press("One less", () => more(field, run, many - 1), {
            kind: ".quiet",
            id: `less-${run.key}`,
          })
        : null,
      press("Work out the sum", () => field.draw(), { kind: ".outline", id: `sum-${run.key}` }),
    ),
    flows.length
      ? h("p.sum", { role: "status" }, `${flows.length} of ${many} outlets together: `, num(text))
      : null,
    h(
      "small",
      "29.84 c d² √p (NFPA 291). A tenth more pressure is a twentieth more flow; below about 0.7 bar, or where the outlet is not filled, a pitot says nothing.",
    ),
    flows.length === many
      ? press(`Keep ${text} as the solution flow`, () => keep(field, run, text, read), {
          id: `take-${run.key}`,
        })
      : null,
  );
}

/** What was kept: the outlets that make the flow, and the way back to a flow of a meter. */
export function keptOutlets(field, run) {
  return h(
    "div.outlets",
    h("p", "Solution flow by pitot: ", num(run.solution_flow)),
    h(
      "ul.plain",
      run.outlets.map((text, i) => h("li", `Outlet ${i + 1}: `, num(text))),
    ),
    press("Take the outlets out", () => empty(field, run), {
      kind: ".quiet",
      id: `outlets-${run.key}`,
    }),
  );
}

const placeOf = (run, i, name) => `pitot:${run.key}:${i}:${name}`;

function outlet(field, run, i) {
  const typed = Object.fromEntries(
    [
      ["diameter", ""],
      ["coefficient", "0.90"],
      ["pressure", ""],
    ].map(([name, was]) => [name, valueOf(field, placeOf(run, i, name), was)]),
  );
  return { ...typed, ...outletFlow(typed, field.view.units.pressure) };
}

function entries(field, run, i, { at, problem }) {
  if (problem) field.problems.set(placeOf(run, i, at), problem);
  const { units } = field.view;
  return h(
    "fieldset",
    h("legend", `Outlet ${i + 1}`),
    quantityEntry(field, placeOf(run, i, "diameter"), {
      label: "Inside diameter",
      units: DIAMETERS,
      kind: "diameter",
      optional: false,
    }),
    choiceEntry(field, placeOf(run, i, "coefficient"), {
      label: "Coefficient",
      was: "0.90",
      choices: COEFFICIENTS,
      optional: false,
    }),
    quantityEntry(field, placeOf(run, i, "pressure"), {
      label: "Pitot pressure",
      units: units.pressure,
      kind: "pitot",
      optional: false,
    }),
  );
}

async function more(field, run, many) {
  field.type(`pitot:${run.key}:count`, String(Math.min(MOST, many)), "1");
  await field.draw();
}

function places(field, run) {
  const own = `pitot:${run.key}:`;
  return [...field.drafts.keys()].filter((place) => place.startsWith(own));
}

/** Outlets take the place of the flow, so what was seen of it goes along. */
const opened = (run) => ({
  outlets: (run.outlets ?? []).join("\n"),
  solution_flow: run.solution_flow ?? "",
  flow_source: run.flow_source ?? "",
});

function keep(field, run, text, outlets) {
  const list = outlets.map((one) => `${one.diameter}; ${one.coefficient}; ${one.pressure}`);
  return field.act(
    "note_run",
    { run: run.key },
    { outlets: list },
    { words: `${text} by pitot at ${run.name}`, opened: opened(run), places: places(field, run) },
  );
}

function empty(field, run) {
  return field.act(
    "note_run",
    { run: run.key },
    { outlets: [], solution_flow: "", flow_source: "" },
    { words: `Outlets at ${run.name} taken out`, opened: opened(run) },
  );
}
