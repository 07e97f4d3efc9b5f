import { openOnce } from '../network.ts';
import { STRIP, type CountedAxis } from './edgeStrip.ts';

/** Where the last row or stitch ends in one strip, from its expected place outward, in rows or stitches. */
export interface ReadEdge {
  outward: number;
  /** Standard deviation of what the network thinks possible. */
  spread: number;
}

const open = openOnce(new URL('./model/edges.onnx', import.meta.url));

/** Less contrast than one step of eight bits is none. */
const LEAST_CONTRAST = 1 / 255;

/**
 * Says where the last row ends in strips across an edge: what a maker counts ends there, while the yarn of the
 * foundation chain or of the last loops reaches beyond it.
 *
 * The network (`fixtures/training/trainEdges.py`) is trained only on generated cloth.
 *
 * @param strips from `cutEdgeStrip`
 * @param fabric ln(pitch of what is counted ÷ pitch along the edge)
 */
export async function readEdges(
  strips: readonly Float32Array[],
  fabric: { axis: CountedAxis; logPitch: number },
): Promise<ReadEdge[]> {
  if (strips.length === 0) return [];
  const { runtime, session } = await open();
  const n = STRIP.lines * STRIP.columns;
  const planes = new Float32Array(3 * n * strips.length);
  strips.forEach((strip, k) => {
    const from = 3 * n * k;
    fillEvened(strip, planes.subarray(from, from + n));
    planes.fill(fabric.logPitch, from + n, from + 2 * n);
    planes.fill(fabric.axis === 'stitches' ? 1 : 0, from + 2 * n, from + 3 * n);
  });
  const result = await session.run({
    strips: new runtime.Tensor('float32', planes, [strips.length, 3, STRIP.lines, STRIP.columns]),
  });
  const logits = result.edge!.data as Float32Array;
  return strips.map((_, k) => placeOf(logits.subarray(k * STRIP.lines, (k + 1) * STRIP.lines)));
}

/** The strip with mean 0 and standard deviation 1. */
function fillEvened(strip: Float32Array, out: Float32Array): void {
  const n = out.length;
  let sum = 0;
  for (let i = 0; i < n; i++) sum += strip[i]!;
  const mean = sum / n;
  let squares = 0;
  for (let i = 0; i < n; i++) squares += (strip[i]! - mean) ** 2;
  const gain = 1 / Math.max(LEAST_CONTRAST, Math.sqrt(squares / n));
  for (let i = 0; i < n; i++) out[i] = gain * (strip[i]! - mean);
}

/** Mean and spread of a place whose log-probabilities are given for each line. */
function placeOf(logits: Float32Array): ReadEdge {
  const most = logits.reduce((a, b) => Math.max(a, b), -Infinity);
  let total = 0;
  let first = 0;
  let second = 0;
  logits.forEach((logit, j) => {
    const weight = Math.exp(logit - most);
    const outward = (STRIP.expectedLine - (j + 0.5)) / STRIP.linesEach;
    total += weight;
    first += weight * outward;
    second += weight * outward * outward;
  });
  const mean = first / total;
  return { outward: mean, spread: Math.sqrt(Math.max(0, second / total - mean * mean)) };
}
