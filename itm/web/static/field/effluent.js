// What came out on the day, was caught, got away and was hauled off. What is asked of each comes
// with the day (itm/doors/day_effluent.py); sums and what does not add up stand on the page.

import { h, caution, onlyHere, num } from "./dom.js";
import { askedEntry, press, textEntry, valueOf } from "./entering.js";

/** A day that was taken along by an older page holds none. */
export function effluentPart(field, view) {
  if (!view.effluent) return null;
  const writes = view.may.write && view.visit.started_at;
  return [
    h("h2", "Effluent"),
    writes ? caution(view.cautions.effluent) : null,
    view.effluent.length
      ? h(
          "ul.plain.effluent",
          view.effluent.map((line) => h("li", one(view, line), writes ? back(field, line) : null)),
        )
      : h(
          "p",
          view.visit.started_at
            ? "Nothing is noted yet: how much was discharged, caught, or got away, in litres of liquid."
            : "It is noted once the test day has begun.",
        ),
    writes ? view.effluent_asked.map((kind) => noting(field, view, kind)) : null,
  ];
}

function one(view, line) {
  const said = [
    line.place,
    line.hauler && `by ${line.hauler}`,
    line.paper && `paper ${line.paper}`,
    line.note,
    line.by,
  ];
  return [
    h("strong", view.effluent_asked.find(({ kind }) => kind === line.kind).label),
    " ",
    num(line.volume),
    said
      .filter(Boolean)
      .map((text) => `, ${text}`)
      .join(""),
    " ",
    onlyHere(line.pending),
  ];
}

function noting(field, view, { kind, title, fields }) {
  const prefix = `effluent:${kind}`;
  const at = (name) => `${prefix}:${name}`;
  const places = fields.map(({ name }) => at(name));
  const note = async () => {
    const put = { kind };
    const problems = {};
    for (const { name, label, needed } of fields.map(ours)) {
      const text = valueOf(field, at(name)).trim();
      if (text) put[name] = text;
      else if (needed) problems[at(name)] = `${label}: this is needed.`;
    }
    if (Object.keys(problems).length) return field.refuse(problems);
    return field.act("note_effluent", { visit: view.visit.key }, put, {
      words: `${title}: ${put.volume}`,
      key: field.draft(at("volume")).key,
      places,
    });
  };
  return h(
    "details",
    { id: `effluent-${kind}` },
    h("summary", title),
    h(
      "div.form-narrow",
      fields.map((one) => askedEntry(field, at(one.name), ours(one))),
      h("div.do", press("Note it", note, { id: `note-${kind}` })),
    ),
  );
}

/** What may stay empty here says what it then is. */
function ours(asked) {
  if (asked.name === "happened_on") return { ...asked, needed: false, help: "Empty: today." };
  if (asked.name === "pfas")
    return {
      ...asked,
      needed: false,
      choices: [["", "that of the tank, by its book"], ...asked.choices.filter(([value]) => value)],
    };
  return asked;
}

function back(field, line) {
  const place = `effluent:back:${line.key}`;
  const withdraw = async () => {
    const because = valueOf(field, place).trim();
    if (!because) return field.refuse({ [place]: "Say what was wrong with it." });
    return field.act(
      "withdraw_effluent",
      { effluent: line.key },
      { because },
      { words: `Withdrawn: ${line.volume}`, places: [place] },
    );
  };
  return h(
    "details",
    { id: `back-${line.key}` },
    h("summary", "Noted wrongly"),
    h(
      "div.form-narrow",
      textEntry(field, place, { label: "What was wrong", optional: false, maxlength: 200 }),
      h("div.do", press("Withdraw it", withdraw, { kind: ".quiet", id: `withdraw-${line.key}` })),
    ),
  );
}
