/** Neighbours in a map say nearly the same, so this many, spread evenly, stand for all. */
const MOST_SORTED = 8000;

/** Weighted median: the value with half of the weight on either side. NaN when there is no weight. */
export function weightedMedian(values: ArrayLike<number>, weights: ArrayLike<number>): number {
  const order: number[] = [];
  let total = 0;
  // An odd step does not fall in with the rows of a map.
  const step = values.length > MOST_SORTED ? 2 * Math.ceil(values.length / MOST_SORTED / 2) + 1 : 1;
  for (let i = 0; i < values.length; i += step) {
    if (weights[i] > 0 && Number.isFinite(values[i])) {
      order.push(i);
      total += weights[i];
    }
  }
  order.sort((a, b) => values[a] - values[b]);
  let sum = 0;
  for (const i of order) {
    sum += weights[i];
    if (sum >= total / 2) return values[i];
  }
  return NaN;
}
