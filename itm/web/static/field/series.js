// Smooth functions of the engine as a device computes them (calc/series.py).

/** A short polynomial of the server's; no number beyond the range that it is good for. */
export function seriesAt({ low, high, terms }, value) {
  if (!(value >= low && value <= high)) return NaN;
  const x = (2 * value - low - high) / (high - low);
  return terms.reduceRight((total, term) => total * x + term, 0);
}
