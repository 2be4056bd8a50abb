// One bottle with its readings, and the next one as the display shows it. A reading is never
// changed: a repeat stands beside it, and the odd one is set aside with a reason.

import { h, num, onlyHere } from "./dom.js";
import { inForce } from "./day.js";
import { idOf, press, textEntry, valueOf } from "./entering.js";
import { photosOf, photoPart } from "./photos.js";
import { percentIn } from "./weighing.js";
import { judge, questions } from "./readings.js";

const ROLES = {
  water: "test water",
  water_again: "test water, read once more",
  system_water: "water that the system was fed with",
  standard: "premix standard",
  concentrate: "undiluted concentrate",
  sample: "discharge sample",
};

export function readingLine(field, bench, bottle, open, asked) {
  const made = percentIn(field.view, bench)(bottle);
  return h(
    "section.bottle",
    { id: `bottle-${bottle.key}`, "aria-label": bottle.label },
    h(
      "h3",
      `${bottle.label} `,
      h(
        "small",
        bottle.role === "standard" ? `standard for ${bottle.target_percent} %` : ROLES[bottle.role],
      ),
      made !== null && bottle.role === "standard" ? h("small.num", ` ${made.toFixed(2)} %`) : null,
    ),
    h(
      "ul.plain",
      bottle.readings.map((one) => readingRow(field, bottle, one, open, asked.get(one.key)?.[1])),
    ),
    open ? newReading(field, bench, bottle) : null,
  );
}

function readingRow(field, bottle, one, open, question) {
  const aside = Boolean(one.set_aside_reason);
  return h(
    `li.reading${aside ? ".aside" : ""}`,
    { id: `reading-${one.key}` },
    h("span.num.value", one.value),
    " ",
    one.temperature ? num(`${one.temperature} °C`) : null,
    " ",
    h("small", `no. ${one.sequence}, ${one.read_by} `),
    onlyHere(one.pending),
    " ",
    photosOf(field, { reading: one.key }),
    aside ? h("small.why", `set aside: ${one.set_aside_reason}`) : null,
    !aside && question ? h("p.why.asked", { role: "status" }, question) : null,
    open
      ? h(
          "div.press",
          aside
            ? bringBack(field, one)
            : [
                photoPart(field, { reading: one.key }, `${bottle.label}, ${one.value}`),
                asideing(field, bottle, one),
              ],
        )
      : null,
  );
}

const bringBack = (field, one) =>
  press(
    "Take it back into the fit",
    () =>
      field.act(
        "bring_back_reading",
        { reading: one.key },
        {},
        {
          words: `${one.value} counts again`,
          opened: { set_aside_reason: one.set_aside_reason },
        },
      ),
    { kind: ".quiet", id: `count-${one.key}` },
  );

function asideing(field, bottle, one) {
  const place = `aside:${one.key}`;
  const aside = () => {
    const reason = valueOf(field, place).trim();
    if (!reason)
      return field.refuse({
        [place]: "Say why this reading is set aside, for example “bubble on the prism”.",
      });
    return field.act(
      "set_aside",
      { reading: one.key },
      { reason },
      { words: `${one.value} of ${bottle.label} set aside`, places: [place] },
    );
  };
  return h(
    "details",
    { id: `set-${one.key}` },
    h("summary", "Set aside"),
    textEntry(field, place, {
      label: "Why it is set aside",
      optional: false,
      maxlength: 200,
      hint: field.view.usual.set_aside,
      help: "Read the bottle again first. Set aside it stays on the record, struck through, with your reason.",
    }),
    press("Set it aside", aside, { kind: ".outline", id: `aside-${one.key}` }),
  );
}

/** What a reading is of; an index has a word where a unit would stand. */
const unitOf = ({ fields }) => fields.value.unit || "nD";

/** The scale of the instrument, in the words of the page. */
export const scaleOf = (bench) => `${bench.fields.value.name}, ${unitOf(bench)}`;

function newReading(field, bench, bottle) {
  const [value, temperature] = [`read:${bottle.key}:value`, `read:${bottle.key}:temperature`];
  const keep = async () => {
    const [typed, warm] = [valueOf(field, value).trim(), valueOf(field, temperature).trim()];
    const wrong = judge(typed, warm, bench.fields);
    if (wrong.value || wrong.temperature) {
      return field.refuse({
        ...(wrong.value && { [value]: wrong.value }),
        ...(wrong.temperature && { [temperature]: wrong.temperature }),
      });
    }
    const entry = await field.act(
      "add_reading",
      { bottle: bottle.key },
      { value: typed, temperature: warm },
      {
        words: `${typed}, ${bottle.label}`,
        key: field.draft(value).key,
        places: [value, temperature],
      },
    );
    if (!entry) return null;
    const now = field.view.benches.find((one) => one.key === bench.key);
    const asked = questions(now, percentIn(field.view, now)).get(entry.key);
    if (asked) return field.say(`${typed} is kept. ${asked[1]}`, "warning");
    return document.getElementById(idOf(nextEmpty(field, bench, bottle) ?? value))?.focus();
  };
  const same = lastTemperature(bench);
  const onEnter = {
    onkeydown: (event) =>
      event.key === "Enter" &&
      !event.isComposing &&
      (event.preventDefault(), document.getElementById(`keep-${bottle.key}`).click()),
  };
  return h(
    "div.new-reading",
    h(
      "div.pair",
      textEntry(field, value, {
        label: `${bottle.label}, new reading, ${unitOf(bench)}`,
        inputmode: "decimal",
        maxlength: 40,
        optional: false,
        ...onEnter,
      }),
      textEntry(field, temperature, {
        label: "°C",
        inputmode: "decimal",
        maxlength: 40,
        ...onEnter,
      }),
    ),
    h(
      "div.press",
      press("Keep the reading", keep, { id: `keep-${bottle.key}` }),
      same && !valueOf(field, temperature)
        ? press(
            `${same} °C again`,
            () => {
              field.type(temperature, same, "");
              return field.draw();
            },
            { kind: ".outline", id: `same-${bottle.key}` },
          )
        : null,
    ),
  );
}

const ordered = (bench) =>
  bench.bottles.flatMap((one) => one.readings).sort((a, b) => a.sequence - b.sequence);
const lastTemperature = (bench) =>
  ordered(bench)
    .filter((one) => one.temperature)
    .at(-1)?.temperature;

/** The next bottle without a reading, in the order of the screen. */
function nextEmpty(field, bench, bottle) {
  const shown = [...document.querySelectorAll("section.bottle")].map((one) => one.id.slice(7));
  const now = field.view.benches.find((one) => one.key === bench.key);
  const after = shown.slice(shown.indexOf(bottle.key) + 1);
  const next = after.find((key) => {
    const own = now.bottles.find((one) => one.key === key);
    return own && !inForce(own).length;
  });
  return next && `read:${next}:value`;
}
