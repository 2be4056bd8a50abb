// The day itself: who was told, the start, the tests, what is noted of weather and effluent.

import { h, caution, empty, notice, onlyHere, num } from "./dom.js";
import { directToCome, isDirect, testsOf } from "./day.js";
import { hasFlowed } from "./direct.js";
import { effluentPart } from "./effluent.js";
import { inspections } from "./inspect.js";
import { steps } from "./steps.js";
import { beginning } from "./begin.js";
import { beginningTest } from "./begin_test.js";
import { changes, press, textEntry, valueOf } from "./entering.js";
import { day, forEntry, fromEntry, instant } from "./words.js";

export function visitScreen(field) {
  const { view } = field;
  const { visit } = view;
  return [
    h("p.back", h("a", { href: "#/" }, "All days")),
    h("h1", visit.site.name),
    h("p.lead", [day(visit.planned_on), visit.contractor, visit.crew].filter(Boolean).join(" · ")),
    visit.closed ? notice(visit.closed) : null,
    protection(field, visit),
    h("h2", "Tests"),
    testsOf(view).length
      ? testsOf(view).map((test) => testSteps(view, test))
      : empty(
          "No test is prepared. Begin one here, or prepare it on the page of the visit while there is signal.",
        ),
    beginningTest(field),
    directToCome(view)
      ? notice(
          "This copy of the day is older than this page: its tests by a direct method come with the next signal.",
        )
      : null,
    concentrate(field),
    inspections(view),
    h("p.do", h("a", { href: `#/d/${visit.key}/restore` }, `Restore: ${openLines(view)}`)),
    effluentPart(field, view),
    h("h2", "Who was told"),
    told(field, view),
    view.may.write && !visit.closed ? telling(field, view) : null,
    view.may.write && !visit.closed ? noting(field, visit) : null,
  ];
}

/** A day that was taken along by an older page holds none. */
function concentrate(field) {
  const { visit, checks = [] } = field.view;
  return [
    h("h2", "Concentrate"),
    checks.length
      ? h(
          "ul.plain",
          checks.map((check) =>
            h(
              "li",
              h("a.big", { href: `#/d/${visit.key}/check/${check.key}` }, `Check of ${check.tank}`),
              ` ${day(check.checked_on)}, ${check.handing_in ? "handed in from here, waits for signal" : check.state_label} `,
              onlyHere(check.pending),
            ),
          ),
        )
      : h("p", "No check is begun."),
    beginning(field),
  ];
}

function openLines(view) {
  const open = view.restoration.filter((line) => !line.outcome).length;
  return open
    ? `${open} of ${view.restoration.length} lines open`
    : `all ${view.restoration.length} lines ended`;
}

function testSteps(view, test) {
  return h(
    "article.visit-test",
    h("h3", `${test.system}, ${test.tag} `, onlyHere(test.pending)),
    h(
      "p",
      `${test.purpose_label}, ${test.phase_label}${isDirect(test) ? `, ${test.method_label}` : ""} · ${test.handing_in ? "handed in from here, waits for signal" : test.state_label}`,
    ),
    notTaken(test),
    steps(view, test),
  );
}

/** A test that was begun here and that the server does not take as it is. */
export const notTaken = (test) =>
  test.not_taken
    ? h("div", notice(test.not_taken, "warning"), h("a", { href: "#/waiting" }, "To what waits"))
    : null;

function protection(field, visit) {
  const { view, zone } = field;
  if (!visit.started_at) {
    return h(
      "section.protection",
      h("h2", "The test day has not begun"),
      view.may.write ? [caution(view.cautions.prepare), starting(field, visit)] : null,
    );
  }
  return h(
    `section.protection${visit.restored_at ? "" : ".impaired"}`,
    h("h2", visit.restored_at ? "Back in service " : "Out of service ", onlyHere(visit.pending)),
    h(
      "dl.facts",
      h("dt", "Since"),
      h("dd", num(instant(visit.started_at, zone)), `, ${visit.started_by}`),
      h("dt", "Why"),
      h("dd", visit.impairment_reason),
      h("dt", "Coordinator"),
      h("dd", visit.coordinator),
      visit.restored_at
        ? [h("dt", "Restored"), h("dd", num(instant(visit.restored_at, zone)))]
        : null,
    ),
    begun(view) || !view.may.write
      ? null
      : press(
          "Started by mistake: no valve has moved",
          () =>
            field.act(
              "take_back_start",
              { visit: visit.key },
              {},
              { words: "Start taken back", opened: { started_at: visit.started_at } },
            ),
          { kind: ".quiet", id: "unstart" },
        ),
  );
}

const begun = (view) =>
  testsOf(view).some(
    (test) =>
      test.runs.some((run) => run.foam_seen_at) ||
      Object.values(test.measured ?? {}).some(hasFlowed) ||
      test.flush.some((step) => step.done_at),
  ) ||
  view.benches.some((bench) => bench.bottles.some((bottle) => bottle.run)) ||
  view.restoration.some((line) => line.outcome);

function starting(field, visit) {
  const places = ["start:reason", "start:coordinator", "start:at"];
  const [reason, coordinator] = [
    visit.impairment_reason || "Proportioning test",
    visit.coordinator || visit.site.owner,
  ];
  const start = async () => {
    const put = {
      reason: valueOf(field, places[0], reason).trim(),
      coordinator: valueOf(field, places[1], coordinator).trim(),
    };
    const problems = {};
    if (!put.reason) problems[places[0]] = "Say why the system goes out of service.";
    if (!put.coordinator)
      problems[places[1]] =
        "Name who looks after the impairment: the owner, unless somebody else is named.";
    const at = pastInstant(field, places[2], problems);
    if (Object.keys(problems).length) return field.refuse(problems);
    if (at) put.started_at = at;
    return field.act("start_test_day", { visit: visit.key }, put, {
      words: "Test day started, the system is out of service",
      places,
    });
  };
  return h(
    "div.form-narrow",
    field.view.notices.length
      ? null
      : notice(
          "Nobody is noted as told yet: owner, authority, fire service, monitoring company.",
          "warning",
        ),
    textEntry(field, places[0], {
      label: "Why the system goes out of service",
      was: reason,
      maxlength: 200,
      optional: false,
    }),
    textEntry(field, places[1], {
      label: "Impairment coordinator",
      was: coordinator,
      maxlength: 120,
      optional: false,
    }),
    textEntry(field, places[2], {
      label: "First valve moved at",
      type: "datetime-local",
      help: `On the clock of the site (${field.zone}). Leave empty for now.`,
    }),
    h("div.do", press("Start: the system is out of service", start, { id: "start" })),
  );
}

/** An instant typed on the site's clock, never later than now; nothing where nothing was typed. */
export function pastInstant(field, place, problems) {
  const typed = valueOf(field, place);
  if (!typed) return null;
  const at = fromEntry(typed, field.zone);
  if (!at) problems[place] = 
      "Write day and time, such as 2026-05-03T10:12; in a night in which the clocks change, one that they showed once.";
  else if (new Date(at) > new Date())
    problems[place] = "That is still to come on the clock of this device.";
  return at;
}

function told(field, view) {
  if (!view.notices.length)
    return h("p", `Nobody is noted as told yet. The usual list: ${view.usual.told.join(", ")}.`);
  return h(
    "ul.plain.told",
    view.notices.map((one) =>
      h(
        "li",
        h("strong", one.told),
        " ",
        num(instant(one.told_at, field.zone)),
        [one.how, one.reference, one.told_by]
          .filter(Boolean)
          .map((text) => `, ${text}`)
          .join(""),
        " ",
        onlyHere(one.pending),
      ),
    ),
  );
}

function telling(field, view) {
  const places = ["told:told", "told:how", "told:reference", "told:at"];
  const tell = async () => {
    const problems = {};
    const who = valueOf(field, places[0]).trim();
    if (!who) problems[places[0]] = "Say who was told.";
    const at = pastInstant(field, places[3], problems);
    if (Object.keys(problems).length) return field.refuse(problems);
    const put = {
      told: who,
      how: valueOf(field, places[1]).trim(),
      reference: valueOf(field, places[2]).trim(),
      told_at: at ?? new Date().toISOString(),
    };
    return field.act("add_notice", { visit: view.visit.key }, put, {
      words: `${who} told`,
      key: field.draft(places[0]).key,
      places,
    });
  };
  return h(
    "details",
    { id: "telling" },
    h("summary", "Somebody was told"),
    h(
      "div.form-narrow",
      textEntry(field, places[0], {
        label: "Who was told",
        optional: false,
        maxlength: 120,
        hint: view.usual.told,
      }),
      textEntry(field, places[1], { label: "How", maxlength: 60 }),
      textEntry(field, places[2], {
        label: "Reference",
        maxlength: 60,
        help: "Number of the call or of the letter",
      }),
      textEntry(field, places[3], {
        label: "When",
        type: "datetime-local",
        help: `On the clock of the site; empty for now, ${forEntry(new Date(), field.zone).slice(11)}.`,
      }),
      h("div.do", press("Note that they were told", tell, { id: "tell" })),
    ),
  );
}

function noting(field, visit) {
  const names = ["crew", "weather", "ambient_c", "effluent_plan", "coordinator"];
  const prefix = `visit:${visit.key}`;
  const save = async () => {
    const { put, opened, places } = changes(field, prefix, visit, names);
    if (!Object.keys(put).length)
      return field.say("Nothing was changed, so nothing was kept.", "info");
    if (put.ambient_c && !/°C$/.test(put.ambient_c)) put.ambient_c = `${put.ambient_c} °C`;
    return field.act("note_visit", { visit: visit.key }, put, {
      words: "Facts of the day",
      opened,
      places,
    });
  };
  const entry = (name, label, rest = {}) =>
    textEntry(field, `${prefix}:${name}`, { label, was: visit[name] ?? "", ...rest });
  return h(
    "details",
    { id: "noting" },
    h("summary", "Weather, crew, effluent"),
    h(
      "div.form-narrow",
      entry("ambient_c", "Air temperature, °C", { inputmode: "decimal", maxlength: 20 }),
      entry("weather", "Weather", {
        maxlength: 200,
        help: "Wind carries foam; rain dilutes open samples.",
      }),
      entry("crew", "Crew", { maxlength: 200 }),
      entry("coordinator", "Impairment coordinator", { maxlength: 120 }),
      entry("effluent_plan", "Effluent", {
        long: true,
        maxlength: 1000,
        help: "How much at which percent, where it goes, who hauls it, on whose papers.",
      }),
      h("div.do", press("Keep", save, { id: "note-visit" })),
    ),
  );
}
