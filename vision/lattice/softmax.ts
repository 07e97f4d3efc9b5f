/** Probabilities from logits; they sum to 1. */
export function softmax(logits: Float32Array): number[] {
  const most = Math.max(...logits);
  const powers = Array.from(logits, (v) => Math.exp(v - most));
  const total = powers.reduce((a, b) => a + b, 0);
  return powers.map((v) => v / total);
}
