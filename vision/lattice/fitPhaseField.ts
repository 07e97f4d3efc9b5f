import { Matrix, solve } from 'ml-matrix';
import type { Demodulated, PhaseNode } from './demodulate.ts';

/**
 * A smooth phase, in turns, over map pixels: whole numbers are one kind of boundary (between rows, or
 * between stitches), so differences of phase count rows or stitches.
 */
export interface PhaseField {
  phaseAt(x: number, y: number): number;
  /** Gradient, turns per map pixel. */
  gradientAt(x: number, y: number): { x: number; y: number };
  /** Root mean square distance of the nodes' phases from the field, turns. */
  residualTurns: number;
  /** Weighted share of the nodes that agree with the field within ¼ turn. */
  agreement: number;
  /** Mean amplitude of the agreeing nodes. */
  amplitude: number;
  /** Standard uncertainty of the mean gradient along its own direction, relative. */
  relativeUncertainty: number;
  degree: number;
  inliers: PhaseNode[];
}

const wrap = (turns: number) => turns - Math.round(turns);

/**
 * Unwraps node phases outward from the strongest node, always along the surest step: between two strong
 * nodes of like phase (a maximum spanning tree, R. C. Prim, Bell Syst. Tech. J. 36, 1957). So a wrong
 * node, however strong, is reached late and hardly passes its error on.
 */
function unwrap({ nodes, columns, rows }: Demodulated, usable: (node: PhaseNode) => boolean) {
  const phase = new Map<PhaseNode, number>();
  const start = nodes.filter(usable).sort((a, b) => b.amplitude - a.amplitude)[0];
  if (!start) return phase;
  const steps: { from: PhaseNode; to: PhaseNode; sureness: number }[] = [];
  const reach = (node: PhaseNode, turns: number) => {
    phase.set(node, turns);
    for (const [dx, dy] of [
      [1, 0],
      [-1, 0],
      [0, 1],
      [0, -1],
    ]) {
      const column = node.column + dx;
      const row = node.row + dy;
      if (column < 0 || row < 0 || column >= columns || row >= rows) continue;
      const to = nodes[row * columns + column];
      if (phase.has(to) || !usable(to)) continue;
      const likeness = 1 + Math.cos(2 * Math.PI * (to.phase - node.phase));
      steps.push({ from: node, to, sureness: Math.min(node.amplitude, to.amplitude) * likeness });
    }
  };
  reach(start, start.phase);
  while (steps.length > 0) {
    let best = 0;
    for (let i = 1; i < steps.length; i++) if (steps[i].sureness > steps[best].sureness) best = i;
    const [{ from, to }] = steps.splice(best, 1);
    if (phase.has(to)) continue;
    const turns = phase.get(from)!;
    reach(to, turns + wrap(to.phase - turns));
  }
  return phase;
}

const POWERS = [
  [0, 0],
  [1, 0],
  [0, 1],
  [2, 0],
  [1, 1],
  [0, 2],
  [3, 0],
  [2, 1],
  [1, 2],
  [0, 3],
];
const TERMS = { 1: 3, 2: 6, 3: 10 } as const;

/** The polynomial's own coordinates: about −1 to 1 over the nodes. */
interface Frame {
  cx: number;
  cy: number;
  reach: number;
}

function evaluate(c: number[], { cx, cy, reach }: Frame, x: number, y: number): number {
  const u = (x - cx) / reach;
  const v = (y - cy) / reach;
  let sum = 0;
  for (let i = 0; i < c.length; i++) sum += c[i] * u ** POWERS[i][0] * v ** POWERS[i][1];
  return sum;
}

function slopeOf(c: number[], { cx, cy, reach }: Frame, x: number, y: number): { x: number; y: number } {
  const u = (x - cx) / reach;
  const v = (y - cy) / reach;
  let gx = 0;
  let gy = 0;
  for (let i = 0; i < c.length; i++) {
    const [p, q] = POWERS[i];
    if (p > 0) gx += (c[i] * p * u ** (p - 1) * v ** q) / reach;
    if (q > 0) gy += (c[i] * q * u ** p * v ** (q - 1)) / reach;
  }
  return { x: gx, y: gy };
}

function leastSquares(
  points: { node: PhaseNode; phase: number }[],
  terms: number,
  { cx, cy, reach }: Frame,
): number[] {
  const a = new Matrix(terms, terms);
  const b = new Matrix(terms, 1);
  const basis = new Array<number>(terms);
  for (const { node, phase } of points) {
    const u = (node.x - cx) / reach;
    const v = (node.y - cy) / reach;
    for (let i = 0; i < terms; i++) basis[i] = u ** POWERS[i][0] * v ** POWERS[i][1];
    const w = node.amplitude * node.amplitude * node.support;
    for (let i = 0; i < terms; i++) {
      for (let j = 0; j < terms; j++) a.set(i, j, a.get(i, j) + w * basis[i] * basis[j]);
      b.set(i, 0, b.get(i, 0) + w * basis[i] * phase);
    }
  }
  for (let i = 0; i < terms; i++) a.set(i, i, a.get(i, i) * (1 + 1e-9) + 1e-12);
  return solve(a, b).to1DArray();
}

/**
 * Fits a polynomial phase field to demodulated nodes, robustly: unwrap, weighted least squares, throw out
 * nodes more than ¼ turn away, wrap the rest to the field, repeat. The degree (1–3) is the least that the
 * Bayesian information criterion (G. Schwarz, Ann. Stat. 6, 1978) asks for.
 *
 * @returns null when fewer than six nodes agree
 */
export function fitPhaseField(
  demodulated: Demodulated,
  carrier: { kx: number; ky: number },
  options: { minAmplitude: number; minSupport?: number; maxDegree?: 1 | 2 | 3 },
): PhaseField | null {
  const { nodes } = demodulated;
  const minSupport = options.minSupport ?? 0.35;
  const usable = (node: PhaseNode) => node.support >= minSupport && node.amplitude >= options.minAmplitude;
  const all = nodes.filter((node) => node.support >= minSupport);
  const started = unwrap(demodulated, usable);
  const first = [...started.keys()];
  if (first.length < 6) return null;
  const cx = first.reduce((s, p) => s + p.x, 0) / first.length;
  const cy = first.reduce((s, p) => s + p.y, 0) / first.length;
  const reach = Math.max(1, ...first.map((p) => Math.max(Math.abs(p.x - cx), Math.abs(p.y - cy))));

  const frame: Frame = { cx, cy, reach };
  const weightOf = (p: PhaseNode) => p.amplitude * p.amplitude * p.support;

  let best: {
    c: number[];
    points: { node: PhaseNode; phase: number }[];
    rms: number;
    bic: number;
    degree: 1 | 2 | 3;
  } | null = null;
  for (const degree of [1, 2, 3] as const) {
    if (degree > (options.maxDegree ?? 3)) break;
    const terms = TERMS[degree];
    if (first.length < 2 * terms) break;
    let points = first.map((node) => ({ node, phase: started.get(node)! }));
    let c = leastSquares(points, terms, frame);
    for (let pass = 0; pass < 6; pass++) {
      const limit = pass < 2 ? 0.35 : 0.25;
      points = [];
      for (const node of all) {
        if (!usable(node)) continue;
        const expected = evaluate(c, frame, node.x, node.y);
        const off = wrap(node.phase - expected);
        if (Math.abs(off) < limit) points.push({ node, phase: expected + off });
      }
      if (points.length < 2 * terms) break;
      c = leastSquares(points, terms, frame);
    }
    if (points.length < Math.max(6, 2 * terms)) continue;
    let sum = 0;
    let sumWeight = 0;
    for (const { node, phase } of points) {
      const w = weightOf(node);
      sum += w * (phase - evaluate(c, frame, node.x, node.y)) ** 2;
      sumWeight += w;
    }
    // Nodes that disagree count as a quarter turn off, so that a field that drops nodes does not win by it.
    const lost = all.filter(usable).length - points.length;
    const spread = (sum / sumWeight) * points.length + lost * 0.0625;
    // Neighbouring nodes share filter support; about a third of them are independent.
    const independent = (points.length + lost) / 3;
    const bic =
      independent * Math.log(spread / (points.length + lost) + 1e-8) + terms * Math.log(independent + 1);
    if (!best || bic < best.bic) best = { c, points, rms: Math.sqrt(sum / sumWeight), bic, degree };
  }
  if (!best) return null;
  const { c, points } = best;
  const total = all.reduce((s, p) => s + p.support, 0);
  const agreeing = points.reduce((s, p) => s + p.node.support, 0);
  // Slope of a straight line through the phases: u(slope) = σ / (√n · spread of positions), with n the
  // number of independent nodes (GUM H.3; nodes closer than the filter is wide are not independent).
  const k = Math.hypot(carrier.kx, carrier.ky);
  const along = points.map((p) => ((p.node.x - cx) * carrier.kx + (p.node.y - cy) * carrier.ky) / k);
  const meanAlong = along.reduce((s, v) => s + v, 0) / along.length;
  const sdAlong = Math.sqrt(along.reduce((s, v) => s + (v - meanAlong) ** 2, 0) / along.length);
  const independent = Math.max(3, points.length / 4);
  return new PolynomialField(carrier, c, frame, {
    residualTurns: best.rms,
    agreement: total > 0 ? agreeing / total : 0,
    amplitude: points.reduce((s, p) => s + p.node.amplitude, 0) / points.length,
    relativeUncertainty: best.rms / (Math.sqrt(independent) * Math.max(1e-6, sdAlong) * k),
    degree: best.degree,
    inliers: points.map((p) => p.node),
  });
}

/** A class, so that every photo's fields share their compiled methods. */
class PolynomialField implements PhaseField {
  readonly residualTurns: number;
  readonly agreement: number;
  readonly amplitude: number;
  readonly relativeUncertainty: number;
  readonly degree: number;
  readonly inliers: PhaseNode[];
  readonly #carrier: { kx: number; ky: number };
  readonly #c: number[];
  readonly #frame: Frame;

  constructor(
    carrier: { kx: number; ky: number },
    c: number[],
    frame: Frame,
    quality: Omit<PhaseField, 'phaseAt' | 'gradientAt'>,
  ) {
    this.#carrier = carrier;
    this.#c = c;
    this.#frame = frame;
    this.residualTurns = quality.residualTurns;
    this.agreement = quality.agreement;
    this.amplitude = quality.amplitude;
    this.relativeUncertainty = quality.relativeUncertainty;
    this.degree = quality.degree;
    this.inliers = quality.inliers;
  }

  phaseAt(x: number, y: number): number {
    const { kx, ky } = this.#carrier;
    return kx * x + ky * y + evaluate(this.#c, this.#frame, x, y);
  }

  gradientAt(x: number, y: number): { x: number; y: number } {
    const slope = slopeOf(this.#c, this.#frame, x, y);
    return { x: this.#carrier.kx + slope.x, y: this.#carrier.ky + slope.y };
  }
}
