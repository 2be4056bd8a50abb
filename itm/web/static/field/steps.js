// The steps of a test day, as the pages of the product show them.

import { h } from "./dom.js";
import { isDirect, stepsDone } from "./day.js";
import { DIRECT_LABELS, LABELS } from "./words.js";

export function steps(view, test, here = "") {
  const visit = `#/d/${view.visit.key}`;
  const done = test ? stepsDone(view, test) : {};
  const own = test && isDirect(test) ? DIRECT_LABELS : LABELS;
  const lines = Object.entries(own).map(([name, label]) => {
    const address =
      name === "restore" ? `${visit}/restore` : test && `${visit}/${name}/${test.key}`;
    const kind = name === here ? "current" : done[name] ? "done" : "todo";
    return h(
      `li.${kind}`,
      address
        ? h("a", { href: address, "aria-current": name === here && "step" }, label)
        : h("span", label),
      h("small", name === here ? "now" : done[name] ? "done" : "to do"),
    );
  });
  const whose = test ? `Steps of ${test.tag}, ${test.phase_label}` : "Steps of the test day";
  return h("nav.steps", { "aria-label": whose }, h("ol", lines));
}
