// Which screen an address asks for.

import { h, empty } from "./dom.js";
import { benchScreen } from "./bench.js";
import { checkScreen } from "./check.js";
import { isDirect, testsOf } from "./day.js";
import { daysScreen, takeAlong } from "./days.js";
import { press } from "./entering.js";
import { dischargeScreen } from "./discharge.js";
import { inspectScreen } from "./inspect.js";
import { restoreScreen } from "./restore.js";
import { soughtOf, noLabel } from "./label.js";
import { measureScreen } from "./measure.js";
import { isRound } from "./tasks.js";
import { resultScreen } from "./result.js";
import { stopScreen } from "./stop.js";
import { notTaken as notTakenYet, visitScreen } from "./visit.js";
import { waitingScreen } from "./waiting.js";
import { signIn } from "./strip.js";
import { steps } from "./steps.js";
import { count } from "./words.js";

const OF_TEST = {
  discharge: dischargeScreen,
  stop: stopScreen,
  bench: benchScreen,
  result: resultScreen,
};
const OF_DIRECT = {
  discharge: dischargeScreen,
  measure: measureScreen,
  stop: stopScreen,
  result: resultScreen,
};

export function screens(field) {
  if (field.parts[0] === "b") return noLabel(field, soughtOf(field.parts)[1]);
  if (!field.store) return [nobody(field)];
  const [first, , name, key] = field.parts;
  if (first === "waiting") return waitingScreen(field);
  if (first !== "d") return daysScreen(field);
  if (!field.view) return notTaken(field);
  if (isRound(field.view)) return inspectScreen(field);
  if (!name) return visitScreen(field);
  if (name === "restore") return [trail(field), ...restoreScreen(field)];
  if (name === "inspect") return inspectScreen(field);
  if (name === "check") return ofCheck(field, key);
  const test = testsOf(field.view).find((one) => one.key === key);
  const screen = (test && isDirect(test) ? OF_DIRECT : OF_TEST)[name];
  if (!test || !screen) return [missing("There is no such test on this day.")];
  return [trail(field, test, name), ...screen(field, test)];
}

function ofCheck(field, key) {
  const { visit, checks = [] } = field.view;
  const check = checks.find((one) => one.key === key);
  if (!check) return [missing("There is no such check on this day.")];
  return [
    h("p.back", h("a", { href: `#/d/${visit.key}` }, visit.site.name)),
    ...checkScreen(field, check),
  ];
}

function notTaken(field) {
  const take = () => takeAlong(field, field.parts[1]);
  return [
    h("h1", "Not on this device"),
    empty(
      "This day is not on this device yet. Take it along while there is signal.",
      press("Take it along", take, { id: "take-this" }),
    ),
    h("p.do", h("a", { href: "#/" }, "To the days")),
  ];
}

function missing(sentence) {
  return [
    h("h1", "Not here"),
    empty(sentence, h("a", { role: "button", href: "#/" }, "To the days")),
  ];
}

function nobody(field) {
  const waiting = field.others.reduce((sum, one) => sum + one.count, 0);
  return [
    h("h1", "Field capture"),
    empty(
      "Nobody is signed in on this device. Sign in once while there is signal and take the day along; from then on it works without.",
      h("a", { role: "button", href: signIn() }, "Sign in"),
    ),
    waiting
      ? h(
          "p",
          `${count(waiting, "entry", "entries")} of other people wait on this device and are sent when they sign in.`,
        )
      : null,
  ];
}

/** Several methods of one day are tests of their own, so a direct one is told by its method. */
const nameOf = ({ tag, phase_label: phase, method_label: method }) =>
  [tag, phase, method].filter(Boolean).join(", ");

/** Back to the day, and the steps of this test. */
function trail(field, test, here = "restore") {
  const { view } = field;
  const all = testsOf(view);
  const own = test ?? (all.length === 1 ? all[0] : null);
  return [
    h(
      "p.back",
      h(
        "a",
        { href: `#/d/${view.visit.key}` },
        `${view.visit.site.name}${own ? `: ${nameOf(own)}` : ""}`,
      ),
    ),
    steps(view, own, here),
    test ? notTakenYet(test) : null,
  ];
}
