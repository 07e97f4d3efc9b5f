/** Weighted median: the value with half of the weight on either side. NaN when there is no weight. */
export function weightedMedian(values: ArrayLike<number>, weights: ArrayLike<number>): number {
  const order: number[] = [];
  let total = 0;
  for (let i = 0; i < values.length; i++) {
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
