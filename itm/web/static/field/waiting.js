// Everything that is only on this device, in words, with what keeps it from going; and the file for
// the day when nothing else helps.

import { h, empty, notice } from "./dom.js";
import { STUCK } from "./day.js";
import { hangsOnKeys, keysMade, linesThere } from "./begun.js";
import { choiceEntry, press, textEntry, valueOf } from "./entering.js";
import { reopen } from "./inspect.js";
import { chosenFor, draftsOf, megabytes } from "./papers.js";
import { save } from "./saving.js";
import { hasStamp, stampEntry } from "./stamps.js";
import { isInspection, textsOf } from "./tasks.js";
import { typedPart } from "./typed.js";
import { crossed, hasSides, head, labelOf, openTexts } from "./sides.js";

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
    waits || field.typed.length
      ? null
      : empty("Everything that was entered here is on the server."),
    typedPart(field),
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
    waits || field.typed.length
      ? [
          h("h2", "If it will not go"),
          h(
            "p",
            "Save everything that waits as a file, and hand that file in from any computer. It may be handed in twice: nothing is taken twice.",
          ),
          h(
            "div.do",
            press("Save as a file", () => save(field, entries, papers, photos, field.typed), {
              kind: ".outline",
              id: "export",
            }),
            h("a", { href: "/field/file/" }, "Hand in such a file"),
          ),
        ]
      : h("p.do", h("a", { href: "/field/file/" }, "Hand in a file from another device")),
  ];
}

/** Of a paper also the bottles that it is about, of an inspection the photos that it names. */
const hangsOn = ({ of, kind, put, verb }) => [
  ...Object.values(of),
  ...(isInspection({ verb }) ? textsOf({ put }).map(([, text]) => text) : []),
  ...(kind === "paper" ? (put.samples ?? []).map(({ sample }) => sample) : []),
];

/** This one and everything that hangs on it, entries, papers and photos, however far. */
function withHanging(field, one) {
  const there = linesThere(field.days);
  const gone = new Set([one.key, ...keysMade(one, there)]); // a test begun here, with its rows
  const rows = [...field.entries, ...field.papers, ...field.photos].filter(
    (other) => other.state !== "taken",
  );
  for (let grown = true; grown;) {
    const more = rows.filter(
      (row) =>
        !gone.has(row.key) &&
        (hangsOn(row).some((k) => gone.has(k)) || hangsOnKeys(row, gone)),
    );
    more.forEach((row) => [row.key, ...keysMade(row, there)].forEach((k) => gone.add(k)));
    grown = more.length > 0;
  }
  return gone;
}

function plainEntry(field, one) {
  return h("li", { id: `entry-${one.key}` }, head(field, one), dropping(field, one));
}

// An answer that was lost on its way leaves an entry waiting that the server may have taken.
const SENT =
  "It was sent, and no answer came back: the server may have it, and taking it off here takes nothing off there. What never came there nobody can bring back.";

function dropping(field, one) {
  const gone = withHanging(field, one);
  const others = [...field.entries, ...field.papers, ...field.photos].filter(
    ({ key, state }) => key !== one.key && state !== "taken" && gone.has(key),
  ).length;
  const words = others
    ? `Take it off with the ${others} that hang on it, for good`
    : "Take it off for good";
  return h(
    "details",
    { id: `drop-${one.key}` },
    h("summary", "Take it off"),
    h("p", one.sent_at ? SENT : "It was never on the server, and it will not be: nobody can bring it back."),
    press(words, () => drop(field, one), { kind: ".outline", id: `gone-${one.key}` }),
  );
}

async function drop(field, one, gone = withHanging(field, one)) {
  const dropped = (rows) =>
    rows.filter(({ key }) => gone.has(key)).map((row) => ({ ...row, state: "dropped" }));
  await field.store.mark([...dropped(field.papers), ...dropped(field.photos)], "photos");
  await field.store.mark(dropped(field.entries));
  const ofGone = ({ place }) => place.startsWith("waiting:") && gone.has(place.split(":")[1]);
  await field.forgetTyped(field.typed.filter(ofGone));
  field.say(`Taken off: ${one.words}.`);
  await field.draw();
}

function stuckEntry(field, one) {
  if (isInspection(one) && one.state === "refused") return stuckTask(field, one);
  if (one.state === "crossed" && hasSides(one)) {
    // Of a test that the server has, only what was said of it goes: the rest hangs on theirs.
    const alone = one.verb === "begin_test" ? new Set([one.key]) : undefined;
    return crossed(field, one, () => drop(field, one, alone));
  }
  const again = async () => {
    const put = corrected(field, one);
    await field.store.mark([{ ...one, put, state: "waiting", sentence: "", code: "" }]);
    await field.forgetTyped(openTexts(field, one).map(({ name }) => ({ place: placeOf(one, name) })));
    await field.draw();
    await field.handing.now();
  };
  return h(
    "li.stuck",
    { id: `entry-${one.key}` },
    head(field, one),
    one.state === "refused"
      ? openTexts(field, one).map(({ name, text, choices }) => {
          const asks = { label: labelOf(field, one, name), was: text };
          return choices.length
            ? choiceEntry(field, placeOf(one, name), { ...asks, choices })
            : textEntry(field, placeOf(one, name), asks);
        })
      : null,
    hasStamp(one)
      ? stampEntry(field, one, () => corrected(field, one))
      : h(
          "div.press",
          press(one.state === "refused" ? "Send again so" : "Send again", again, {
            id: `again-${one.key}`,
          }),
        ),
    dropping(field, one),
  );
}

/** Its answers are put right where they were typed. */
function stuckTask(field, one) {
  return h(
    "li.stuck",
    { id: `entry-${one.key}` },
    head(field, one),
    h("div.press", press("Open it again", () => reopen(field, one), { id: `open-${one.key}` })),
    dropping(field, one),
  );
}

const placeOf = (one, name) => `waiting:${one.key}:${name}`;

function corrected(field, one) {
  const put = { ...one.put };
  for (const { name, text } of openTexts(field, one)) {
    const now = valueOf(field, placeOf(one, name), text);
    if (now || name in put) put[name] = now;
  }
  return put;
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
  return h(
    "li",
    { id: `entry-${one.key}` },
    head(field, one),
    h("small", `${one.name}, ${(one.blob.size / 1e6).toFixed(1)} MB`),
    hasStamp(one)
      ? stampEntry(field, one)
      : STUCK.has(one.state)
        ? h(
            "div.press",
            press("Send again", () => sendAgain(field, one), {
              kind: ".outline",
              id: `again-${one.key}`,
            }),
          )
        : null,
    dropping(field, one),
  );
}
