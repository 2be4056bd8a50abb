// A laboratory's paper on a concentrate check: its file and what it says of the bottles. The file
// lies on this device's disk as soon as it is chosen; kept, it waits like an entry and goes as one.

import { h, notice, onlyHere } from "./dom.js";
import { press, textEntry, valueOf } from "./entering.js";
import { freeOf, placesOf, typedValues, valueEntry, wrongValues } from "./values.js";
import { day, forEntry } from "./words.js";

const LARGEST = 15_000_000; // bytes, what the server takes (itm/registry/files.py)
const TAIL = 1024; // bytes in which a PDF ends, as there
const OF = "paper-";
const TAKEN = "application/pdf,image/jpeg,image/png,image/webp";

/** Papers of a check that count, and the form for another. */
export function papersPart(field, check, writes) {
  const reports = check.reports ?? [];
  return [
    h("h2", "Laboratory reports"),
    reports.length
      ? h(
          "ul.plain",
          reports.map((one) => h("li", inWords(check, one), " ", onlyHere(one.pending))),
        )
      : h("p", "None is attached."),
    writes ? attaching(field, check) : null,
  ];
}

function inWords(check, { laboratory, number, reported_on: on, name, samples }) {
  const labels = check.samples.filter(({ key }) => samples.includes(key)).map((one) => one.label);
  return `${laboratory}, report ${number} of ${day(on)}, on ${labels.join(", ")}: ${name}`;
}

/** The file that was chosen for this check and is not kept as a report yet. */
export const chosenFor = (field, check) =>
  field.papers.find((one) => one.state === "chosen" && one.of.check === check);

const standing = (check) => check.samples.filter((one) => !one.withdrawn_reason);
const placeOf = (check, name) => `${OF}${check.key}:${name}`;
const tickOf = (check, sample) => placeOf(check, `about-${sample.key}`);

/** Bottles that wait for an answer are ticked beforehand, as on the page. */
const isAbout = (field, check, sample) =>
  valueOf(field, tickOf(check, sample), sample.under_way ? "yes" : "") === "yes";

const about = (field, check) => standing(check).filter((one) => isAbout(field, check, one));

function attaching(field, check) {
  const chosen = chosenFor(field, check.key);
  const away = standing(check).find((one) => one.under_way);
  return h(
    "details",
    { id: `paper-${check.key}`, open: Boolean(chosen) },
    h("summary", "Attach a laboratory’s report"),
    standing(check).length
      ? h(
          "div.form-narrow",
          theFile(field, check, chosen),
          textEntry(field, placeOf(check, "laboratory"), {
            label: "Laboratory",
            was: away?.laboratory ?? "",
            maxlength: 120,
            optional: false,
          }),
          textEntry(field, placeOf(check, "number"), {
            label: "Number of the report",
            maxlength: 60,
            optional: false,
          }),
          textEntry(field, placeOf(check, "reported_on"), {
            label: "Day of the report",
            type: "date",
            optional: false,
          }),
          bottles(field, check),
          about(field, check).map((sample) => ofBottle(field, check, sample)),
          textEntry(field, placeOf(check, "method"), {
            label: "Measured by",
            maxlength: 120,
            help: "Instrument or method, as the paper names it; for all of its values.",
          }),
          textEntry(field, placeOf(check, "measured_on"), { label: "Measured on", type: "date" }),
          h(
            "div.do",
            press("Keep the report", () => keep(field, check), { id: `keep-paper-${check.key}` }),
          ),
        )
      : notice("A report is about bottles: note those first."),
  );
}

function theFile(field, check, chosen) {
  const place = placeOf(check, "file");
  const id = `file-${check.key}`;
  const wrong = field.problems.get(place);
  const take = async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    const problem = await wrongFile(file);
    if (problem) await field.refuse({ [place]: problem });
    else await field.choosePaper(check, file, chosen);
  };
  return h(
    `div.field${wrong ? ".wrong" : ""}`,
    chosen
      ? h("p", `${chosen.name}, ${megabytes(chosen.blob.size)} `, onlyHere(true))
      : h("p", "A PDF, or a JPEG, PNG or WebP picture, up to 15 MB."),
    h(
      "div.press",
      h(
        "span.photo",
        h("input.visually-hidden", {
          type: "file",
          accept: TAKEN,
          id,
          "aria-invalid": wrong ? "true" : null,
          "aria-describedby": wrong ? `${id}-error` : null,
          onchange: take,
        }),
        h("label.pick", { for: id }, chosen ? "Choose another file" : "Choose the report"),
      ),
      chosen
        ? press("Drop this file", () => field.dropPaper(chosen), {
            kind: ".outline",
            id: `drop-${id}`,
          })
        : null,
    ),
    wrong && h("p.error", { id: `${id}-error` }, wrong),
  );
}

export const megabytes = (size) =>
  size < 100_000 ? `${Math.max(1, Math.round(size / 1000))} kB` : `${(size / 1e6).toFixed(1)} MB`;

function bottles(field, check) {
  const wrong = field.problems.get(placeOf(check, "samples"));
  return h(
    "fieldset",
    h("legend", "Bottles that it is about"),
    standing(check).map((sample, at) =>
      h(
        "label.tick",
        h("input", {
          type: "checkbox",
          id: `about-${sample.key}`,
          checked: isAbout(field, check, sample),
          "aria-invalid": wrong && !at ? "true" : null,
          "aria-describedby": wrong && !at ? `about-${check.key}-error` : null,
          onchange: async (event) => {
            const was = sample.under_way ? "yes" : "";
            field.problems.delete(placeOf(check, "samples"));
            field.type(tickOf(check, sample), event.target.checked ? "yes" : "", was);
            await field.draw();
          },
        }),
        `${sample.label}, ${sample.point_label}`,
      ),
    ),
    wrong && h("p.error", { id: `about-${check.key}-error` }, wrong),
  );
}

function ofBottle(field, check, sample) {
  return h(
    "details",
    { id: `says-${sample.key}` },
    h("summary", `What it says of ${sample.label}`),
    freeOf(field, sample).map((property) => valueEntry(field, check, sample, property, OF)),
  );
}

// Kept -------------------------------------------------------------------------------------------

/** What keeps a file from being a paper, as itm/registry/files.py has it; a picture is decoded there
 * alone. */
export async function wrongFile(file) {
  if (!file.size) return `“${file.name}” is empty.`;
  if (file.size > LARGEST)
    return `“${file.name}” is larger than ${LARGEST / 1e6} MB. Choose a smaller version of it.`;
  const head = await letters(file.slice(0, 12));
  if (head.startsWith("%PDF-"))
    return (await letters(file.slice(-TAIL))).includes("%%EOF")
      ? null
      : `“${file.name}” is cut off: a PDF ends otherwise.`;
  const picture =
    head.startsWith("\xff\xd8\xff") ||
    head.startsWith("\x89PNG\r\n\x1a\n") ||
    (head.startsWith("RIFF") && head.slice(8) === "WEBP");
  return picture
    ? null
    : `“${file.name}” is neither a JPEG, PNG or WebP picture nor a PDF, whatever its name says.`;
}

const letters = async (blob) => String.fromCharCode(...new Uint8Array(await blob.arrayBuffer()));

function wrongPaper(field, check, { laboratory, number, reported_on: on }) {
  const problems = {};
  const put = (name, sentence) => (problems[placeOf(check, name)] = sentence);
  if (!chosenFor(field, check.key)) put("file", "Choose the file of the report.");
  if (!laboratory) put("laboratory", "Name the laboratory.");
  if (!number) put("number", "Write the number of the report.");
  if (!on) put("reported_on", "Write the day that stands on the report.");
  else if (on < check.checked_on)
    put(
      "reported_on",
      `The bottles were taken on ${day(check.checked_on)}; a report of them is later.`,
    );
  else if (on > forEntry(new Date(), field.zone).slice(0, 10))
    put("reported_on", "This day has not come yet.");
  const there = (check.reports ?? []).some(
    (one) => one.laboratory === laboratory && one.number === number,
  );
  if (there && number) put("number", "This report of this laboratory is here already.");
  if (!about(field, check).length) put("samples", "Choose the bottles that this report is about.");
  return problems;
}

async function keep(field, check) {
  const text = (name, was = "") => valueOf(field, placeOf(check, name), was).trim();
  const away = standing(check).find((one) => one.under_way);
  const put = {
    laboratory: text("laboratory", away?.laboratory),
    number: text("number"),
    reported_on: text("reported_on"),
  };
  const beside = { method: text("method"), measured_on: text("measured_on") };
  const problems = wrongPaper(field, check, put);
  put.samples = about(field, check).map((sample) => {
    const typed = typedValues(field, sample, freeOf(field, sample), OF);
    Object.assign(problems, wrongValues(field, typed));
    const values = typed.map(({ property, warmth, value }) => ({
      property: property.name,
      value,
      temperature: valueOf(field, warmth).trim(),
      ...beside,
    }));
    return { sample: sample.key, values };
  });
  if (Object.keys(problems).length) {
    const said = Object.keys(problems).find((place) => place.startsWith(`${OF}value`));
    await field.refuse(problems);
    if (said) openAt(said);
    return;
  }
  await field.keepPaper(
    { ...chosenFor(field, check.key), put, words: `Report ${put.number} of ${put.laboratory}` },
    allPlaces(field, check),
  );
}

/** A value that is wrong stands in a part that may be closed. */
function openAt(place) {
  const entry = document.getElementById(place.replaceAll(":", "-"));
  const closed = entry?.closest("details");
  if (closed) closed.open = true;
  entry?.focus();
}

const TEXTS = ["laboratory", "number", "reported_on", "method", "measured_on"];

function allPlaces(field, check) {
  return [
    ...TEXTS.map((name) => placeOf(check, name)),
    ...standing(check).flatMap((sample) => [
      tickOf(check, sample),
      ...field.view.properties.flatMap((property) => placesOf(sample, property, OF)),
    ]),
  ];
}

/** What a kept paper says, as drafts of the form again: so that what was refused is put right where
 * it was typed. */
export function draftsOf({ of, put }) {
  const check = { key: of.check };
  const first = put.samples.flatMap((one) => one.values)[0];
  const texts = { ...put, method: first?.method, measured_on: first?.measured_on };
  return [
    ...TEXTS.map((name) => [placeOf(check, name), texts[name] ?? ""]),
    ...put.samples.flatMap(({ sample, values }) => [
      [tickOf(check, { key: sample }), "yes"],
      ...values.flatMap(({ property, value, temperature }) => {
        const [place, warmth] = placesOf({ key: sample }, { name: property }, OF);
        return [
          [place, value],
          [warmth, temperature],
        ];
      }),
    ]),
  ].filter(([, text]) => text);
}
