// Everything that is only on this device, in words, with what keeps it from going; and the file for
// the day when nothing else helps.

import { h, empty, notice } from "./dom.js";
import { STUCK } from "./day.js";
import { press, textEntry, valueOf } from "./entering.js";
import { chosenFor, draftsOf, megabytes } from "./papers.js";
import { save } from "./saving.js";
import { clock, instant } from "./words.js";

const STANDS = {
  waiting: "waits for signal",
  refused: "not taken",
  crossed: "changed by somebody else meanwhile",
  forbidden: "not yours to enter",
  not_found: "its row is not on the server",
};

export function waitingScreen(field) {
  const entries = field.entries.filter((one) => one.state !== "taken");
  const photos = field.photos.filter((one) => one.state !== "taken");
  const papers = field.papers.filter((one) => !["taken", "chosen"].includes(one.state));
  const waits = entries.length + papers.length + photos.length;
  const stuck = entries.filter((one) => STUCK.has(one.state));
  const plain = entries.filter((one) => !STUCK.has(one.state));
  return [
    h("p.back", h("a", { href: "#/" }, "All days")),
    h("h1", "Only on this device"),
    waits ? null : empty("Everything that was entered here is on the server."),
    stuck.length
      ? [
          h("h2", "Needs you"),
          h(
            "ul.waiting",
            stuck.map((one) => stuckEntry(field, one)),
          ),
        ]
      : null,
    plain.length
      ? [
          h("h2", "Waits for signal"),
          h(
            "ul.waiting",
            plain.map((one) => plainEntry(field, one)),
          ),
        ]
      : null,
    papers.length
      ? [
          h("h2", "Laboratory reports"),
          h(
            "ul.waiting",
            papers.map((one) => paper(field, one)),
          ),
        ]
      : null,
    photos.length
      ? [
          h("h2", "Photos"),
          h(
            "ul.waiting",
            photos.map((one) => photo(field, one)),
          ),
        ]
      : null,
    waits
      ? [
          h("h2", "If it will not go"),
          h(
            "p",
            "Save everything that waits as a file, and hand that file in from any computer. It may be handed in twice: nothing is taken twice.",
          ),
          h(
            "div.do",
            press("Save as a file", () => save(field, entries, papers, photos), {
              kind: ".outline",
              id: "export",
            }),
            h("a", { href: "/field/file/" }, "Hand in such a file"),
          ),
        ]
      : h("p.do", h("a", { href: "/field/file/" }, "Hand in a file from another device")),
  ];
}

const siteOf = (field, visit) => field.days.find((one) => one.key === visit)?.day.visit.site;

function head(field, one) {
  const site = siteOf(field, one.visit);
  return [
    h("strong", one.words),
    h("br"),
    h(
      "small",
      `${site ? `${site.name}, ` : ""}${instant(one.at, site?.time_zone ?? "UTC")}: ${STANDS[one.state]}`,
    ),
    one.sentence ? h("p.sentence", one.sentence) : null,
  ];
}

/** Of a paper also the bottles that it is about. */
const hangsOn = ({ of, kind, put }) => [
  ...Object.values(of),
  ...(kind === "paper" ? (put.samples ?? []).map(({ sample }) => sample) : []),
];

/** This one and everything that hangs on it, entries, papers and photos, however far. */
function withHanging(field, one) {
  const gone = new Set([one.key]);
  const rows = [...field.entries, ...field.papers, ...field.photos].filter(
    (other) => other.state !== "taken",
  );
  for (let grown = true; grown;) {
    const more = rows.filter((row) => !gone.has(row.key) && hangsOn(row).some((k) => gone.has(k)));
    more.forEach(({ key }) => gone.add(key));
    grown = more.length > 0;
  }
  return gone;
}

function plainEntry(field, one) {
  return h("li", { id: `entry-${one.key}` }, head(field, one), dropping(field, one));
}

function dropping(field, one) {
  const others = withHanging(field, one).size - 1;
  const words = others
    ? `Take it off with the ${others} that hang on it, for good`
    : "Take it off for good";
  return h(
    "details",
    { id: `drop-${one.key}` },
    h("summary", "Take it off"),
    h("p", "It was never on the server, and it will not be: nobody can bring it back."),
    press(words, () => drop(field, one), { kind: ".outline", id: `gone-${one.key}` }),
  );
}

async function drop(field, one) {
  const gone = withHanging(field, one);
  const dropped = (rows) =>
    rows.filter(({ key }) => gone.has(key)).map((row) => ({ ...row, state: "dropped" }));
  await field.store.mark([...dropped(field.papers), ...dropped(field.photos)], "photos");
  await field.store.mark(dropped(field.entries));
  field.say(`Taken off: ${one.words}.`);
  await field.draw();
}

function stuckEntry(field, one) {
  if (one.state === "crossed" && sides(one, "UTC").length) return crossed(field, one);
  const again = async () => {
    const put = corrected(field, one);
    await field.store.mark([{ ...one, put, state: "waiting", sentence: "", code: "" }]);
    await field.store.dropDrafts(Object.keys(one.put).map((name) => placeOf(one, name)));
    await field.draw();
    await field.handing.now();
  };
  return h(
    "li.stuck",
    { id: `entry-${one.key}` },
    head(field, one),
    one.state === "refused"
      ? Object.entries(one.put)
          .filter(([, text]) => typeof text === "string")
          .map(([name, text]) =>
            textEntry(field, placeOf(one, name), { label: labelOf(field, one, name), was: text }),
          )
      : null,
    h(
      "div.press",
      press(one.state === "refused" ? "Send again so" : "Send again", again, {
        id: `again-${one.key}`,
      }),
    ),
    dropping(field, one),
  );
}

const placeOf = (one, name) => `waiting:${one.key}:${name}`;

function corrected(field, one) {
  return Object.fromEntries(
    Object.entries(one.put).map(([name, text]) => [name, valueOf(field, placeOf(one, name), text)]),
  );
}

const LABELS = {
  foam_seen_at: "Foam seen at",
  inlet_pressure: "Inlet pressure",
  solution_flow: "Solution flow",
  flow_source: "Flow taken from",
  level_before: "In the tank before",
  level_after: "In the tank after",
  value: "Reading",
  temperature: "Temperature, °C",
  concentrate_ml: "Concentrate, mL",
  water_ml: "Water, mL",
  label: "Label on the bottle",
  reason: "Reason",
  told: "Who was told",
  how: "How",
  reference: "Reference",
  told_at: "When",
  handed_to: "Handed over to",
  handed_at: "Handed over at",
  outcome: "Outcome",
  outlets: "Outlets by pitot",
  target_percent: "Percent wanted",
  notes: "Notes",
  crew: "Crew",
  weather: "Weather",
  ambient_c: "Air temperature",
  coordinator: "Coordinator",
  effluent_plan: "Effluent",
  started_at: "Started at",
};

/** How the day asks for this text, where it does: what it is called, and its choices. */
function askedOf(field, one, name) {
  const own = field.days.find(({ key }) => key === one.visit)?.day;
  const [of] = Object.values(one.of);
  const direct = (own?.direct_tests ?? []).find(
    (test) => test.key === of || test.runs.some((run) => run.key === of),
  );
  const bench = own?.tests.find((test) => test.key === of)?.bench;
  const asked =
    one.verb === "note_bench"
      ? own?.benches.find(({ key }) => key === bench)?.asked
      : own?.direct_asked?.[direct?.method]?.[one.verb];
  return asked?.find((text) => text.name === name);
}

const labelOf = (field, one, name) => askedOf(field, one, name)?.label ?? LABELS[name] ?? name;

/** A choice in its words, any other text as it is. */
function inItsWords(field, one, name, text) {
  const choices = askedOf(field, one, name)?.choices ?? [];
  return choices.find(([value]) => value === text)?.[1] ?? text;
}

/** Fields that two people wrote: name, mine, theirs, as text. */
function sides(one, zone) {
  const now = one.now ?? {};
  if (one.verb === "foam_seen" && now.foam_seen_at) {
    return [["foam_seen_at", clock(one.at, zone), clock(now.foam_seen_at, zone)]];
  }
  const both = Object.keys(now).filter(
    (name) => name in one.put && String(now[name]) !== String(one.put[name]),
  );
  const text = (value) => (Array.isArray(value) ? value.join(", ") : value) || "nothing";
  return both.map((name) => [name, text(one.put[name]), text(now[name])]);
}

/** What stands, as the texts that `opened` holds; a list is its lines. */
const textsOf = (now) =>
  Object.fromEntries(
    Object.entries(now).map(([name, value]) => [
      name,
      Array.isArray(value) ? value.join("\n") : value,
    ]),
  );

/** The same field written by two: side by side, and a person chooses. */
function crossed(field, one) {
  const rows = sides(one, siteOf(field, one.visit)?.time_zone ?? "UTC");
  const putMine = async () => {
    // A deed of its own, with a key of its own: it says that theirs was seen and replaced.
    const again = {
      ...one,
      key: crypto.randomUUID(),
      state: "waiting",
      sentence: "",
      code: "",
      now: undefined,
      opened: { ...one.opened, ...textsOf(one.now) },
    };
    await field.store.mark([again]);
    await field.draw();
    await field.handing.now();
  };
  return h(
    "li.stuck",
    { id: `entry-${one.key}` },
    head(field, one),
    h(
      "table.sides",
      h("caption", "Both are kept until you choose"),
      h(
        "thead",
        h(
          "tr",
          h("th", { scope: "col" }, "Entry"),
          h("th", { scope: "col" }, "Yours"),
          h("th", { scope: "col" }, "On the server"),
        ),
      ),
      h(
        "tbody",
        rows.map(([name, mine, theirs]) =>
          h(
            "tr",
            h("th", { scope: "row" }, labelOf(field, one, name)),
            h("td.num", inItsWords(field, one, name, mine)),
            h("td.num", inItsWords(field, one, name, theirs)),
          ),
        ),
      ),
    ),
    h(
      "div.press",
      press("Put mine in its place", putMine, { id: `mine-${one.key}` }),
      press("Keep theirs", () => drop(field, one), { kind: ".outline", id: `theirs-${one.key}` }),
    ),
  );
}

function paper(field, one) {
  const open = async () => {
    if (chosenFor(field, one.of.check))
      return field.say(
        "Another report is begun there: keep that one first, or drop its file.",
        "warning",
      );
    return field.openPaper(one, draftsOf(one));
  };
  return h(
    "li",
    { id: `entry-${one.key}` },
    head(field, one),
    h("small", `${one.name}, ${megabytes(one.blob.size)}`),
    h(
      "div.press",
      press("Open it again", open, { kind: ".outline", id: `open-${one.key}` }),
      STUCK.has(one.state)
        ? press("Send again", () => sendAgain(field, one), { id: `again-${one.key}` })
        : null,
    ),
    dropping(field, one),
  );
}

async function sendAgain(field, one) {
  await field.store.mark([{ ...one, state: "waiting", sentence: "" }], "photos");
  await field.handing.now();
}

function photo(field, one) {
  const gone = async () => {
    await field.store.mark([{ ...one, state: "dropped" }], "photos");
    field.say("The photo is taken off.");
    await field.draw();
  };
  return h(
    "li",
    { id: `entry-${one.key}` },
    head(field, one),
    h("small", `${one.name}, ${(one.blob.size / 1e6).toFixed(1)} MB`),
    STUCK.has(one.state)
      ? h(
          "div.press",
          press("Send again", () => sendAgain(field, one), {
            kind: ".outline",
            id: `again-${one.key}`,
          }),
        )
      : null,
    h(
      "details",
      { id: `drop-${one.key}` },
      h("summary", "Take it off"),
      press("Take this photo off for good", gone, { kind: ".outline", id: `gone-${one.key}` }),
    ),
  );
}
