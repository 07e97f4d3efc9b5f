/** Neighbours in a map say nearly the same, so this many, spread evenly, stand for all. */
const MOST_SORTED = 8000;

/** Weighted median: the value with half of the weight on either side. NaN when there is no weight. */
export function weightedMedian(values: ArrayLike<number>, weights: ArrayLike<number>): number {
  // An odd step does not fall in with the rows of a map.
  const step = values.length > MOST_SORTED ? 2 * Math.ceil(values.length / MOST_SORTED / 2) + 1 : 1;
  const most = Math.ceil(values.length / step);
  const kept = { values: new Float64Array(most), weights: new Float64Array(most) };
  let count = 0;
  let total = 0;
  for (let i = 0; i < values.length; i += step) {
    if (weights[i] > 0 && Number.isFinite(values[i])) {
      kept.values[count] = values[i];
      kept.weights[count] = weights[i];
      count++;
      total += weights[i];
    }
  }
  return count === 0 ? NaN : atWeight(kept, count, total / 2);
}

/**
 * The value at which the weights of the smaller ones and its own first reach `wanted`: C. A. R. Hoare's FIND
 * (Comm. ACM 4, 321, 1961) with weights in place of counts. Reorders what it is given.
 */
function atWeight(
  { values, weights }: { values: Float64Array; weights: Float64Array },
  count: number,
  wanted: number,
): number {
  let low = 0;
  let high = count - 1;
  let below = 0;
  while (low < high) {
    const pivot = middleOf(values[low], values[(low + high) >> 1], values[high]);
    // Smaller values before `less`, larger ones after `more`, the pivot's equals between.
    let less = low;
    let more = high;
    let lighter = 0;
    let equal = 0;
    for (let i = low; i <= more;) {
      if (values[i] < pivot) {
        lighter += weights[i];
        exchange(values, weights, i++, less++);
      } else if (values[i] > pivot) {
        exchange(values, weights, i, more--);
      } else {
        equal += weights[i++];
      }
    }
    if (below + lighter >= wanted) high = less - 1;
    else if (below + lighter + equal >= wanted || more === high) return pivot;
    else {
      below += lighter + equal;
      low = more + 1;
    }
  }
  return values[low];
}

function middleOf(a: number, b: number, c: number): number {
  return Math.max(Math.min(a, b), Math.min(Math.max(a, b), c));
}

function exchange(values: Float64Array, weights: Float64Array, i: number, j: number): void {
  const [value, weight] = [values[i], weights[i]];
  values[i] = values[j];
  weights[i] = weights[j];
  values[j] = value;
  weights[j] = weight;
}
