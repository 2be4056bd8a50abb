// What is written on a bottle before any server has heard of it.

const labels = (bench) => new Set(bench.bottles.map((one) => one.label));

/** It goes along with the entry: two devices without signal may choose the same, and then somebody
 * has to hear of it before the next reading. */
export function nextStandard(bench) {
  const used = labels(bench);
  let number = 1;
  while (used.has(`S${number}`)) number += 1;
  return `S${number}`;
}

// Of a sample it is the rule of itm/records/labels.py: as left and another proportioner of the same
// bench are told apart, since a label is looked for on the whole bench.
const LONGEST = 34;
const LONGEST_TAG = 12;
const cut = (text, most) => [...text].slice(0, most).join("");

/** Of all samples of a flow point in one test; a copy from before this page knew the first
 * proportioner of a bench takes its own for it. */
export function stemOf(name, test, bench) {
  const other = (bench.first_device ?? test.device) !== test.device;
  const told =
    (other ? ` ${cut(test.tag, LONGEST_TAG)}` : "") + (test.phase === "as_left" ? " as left" : "");
  return `${cut(name, LONGEST - [...told].length)}${told}`;
}

/** The label that the next sample of a flow point gets: what the crew writes on the bottle. */
export function nextLabel(view, run) {
  const bench = view.benches.find((one) => one.key === run.test.bench);
  const used = labels(bench);
  const stem = stemOf(run.name, run.test, bench);
  let number = 1;
  while (used.has(`${stem} ${number}`)) number += 1;
  return `${stem} ${number}`;
}
