// What is written on a bottle before any server has heard of it.

export const labels = (bench) => new Set(bench.bottles.map((one) => one.label));

/** It goes along with the entry: two devices without signal may choose the same, and then somebody
 * has to hear of it before the next reading. */
export function nextStandard(bench) {
  const used = labels(bench);
  let number = 1;
  while (used.has(`S${number}`)) number += 1;
  return `S${number}`;
}
