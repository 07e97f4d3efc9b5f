import { Matrix, solve } from 'ml-matrix';
import type { Point } from '../types.ts';
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
function unwrap({ nodes, columns, rows }: Demodulated, least: Least) {
  const phase = new Map<PhaseNode, number>();
  let start: PhaseNode | null = null;
  for (const node of nodes) {
    if (isUsable(node, least) && (!start || node.amplitude > start.amplitude)) start = node;
  }
  if (!start) return phase;
  const steps: Step[] = [];
  let step: Step | undefined = { to: start, turns: start.phase, sureness: 0 };
  for (; step; step = takeSurest(steps)) {
    const { to: node, turns } = step;
    if (phase.has(node)) continue;
    phase.set(node, turns);
    for (const [dx, dy] of NEIGHBOURS) {
      const column = node.column + dx;
      const row = node.row + dy;
      if (column < 0 || row < 0 || column >= columns || row >= rows) continue;
      const to = nodes[row * columns + column];
      if (phase.has(to) || !isUsable(to, least)) continue;
      const likeness = 1 + Math.cos(2 * Math.PI * (to.phase - node.phase));
      steps.push({
        to,
        turns: turns + wrap(to.phase - turns),
        sureness: Math.min(node.amplitude, to.amplitude) * likeness,
      });
    }
  }
  return phase;
}

/** What a node must have to be followed. */
interface Least {
  amplitude: number;
  support: number;
}

function isUsable(node: PhaseNode, least: Least): boolean {
  return node.support >= least.support && node.amplitude >= least.amplitude;
}

/** A step to a node, and its phase if that is the way to it. */
interface Step {
  to: PhaseNode;
  turns: number;
  sureness: number;
}

const NEIGHBOURS = [
  [1, 0],
  [-1, 0],
  [0, 1],
  [0, -1],
] as const;

function takeSurest(steps: Step[]): Step | undefined {
  let best = 0;
  for (let i = 1; i < steps.length; i++) if (steps[i].sureness > steps[best].sureness) best = i;
  return steps.splice(best, 1)[0];
}

/** Terms of a polynomial of degree 1, 2, 3: 1, u, v, u², uv, v², u³, u²v, uv², v³. */
const TERMS = { 1: 3, 2: 6, 3: 10 } as const;

/** The polynomial's own coordinates: about −1 to 1 over the nodes. */
interface Frame {
  cx: number;
  cy: number;
  reach: number;
}

// Written out: raising to powers takes several times as long.
function evaluate(c: readonly number[], { cx, cy, reach }: Frame, x: number, y: number): number {
  const u = (x - cx) / reach;
  const v = (y - cy) / reach;
  let sum = c[0] + c[1] * u + c[2] * v;
  if (c.length > 3) sum += c[3] * u * u + c[4] * u * v + c[5] * v * v;
  if (c.length > 6) sum += c[6] * u * u * u + c[7] * u * u * v + c[8] * u * v * v + c[9] * v * v * v;
  return sum;
}

function slopeOf(c: readonly number[], { cx, cy, reach }: Frame, x: number, y: number): Point {
  const u = (x - cx) / reach;
  const v = (y - cy) / reach;
  let alongU = c[1];
  let alongV = c[2];
  if (c.length > 3) {
    alongU += 2 * c[3] * u + c[4] * v;
    alongV += c[4] * u + 2 * c[5] * v;
  }
  if (c.length > 6) {
    alongU += 3 * c[6] * u * u + 2 * c[7] * u * v + c[8] * v * v;
    alongV += c[7] * u * u + 2 * c[8] * u * v + 3 * c[9] * v * v;
  }
  return { x: alongU / reach, y: alongV / reach };
}

function leastSquares(
  points: { node: PhaseNode; phase: number }[],
  terms: number,
  { cx, cy, reach }: Frame,
): number[] {
  const products = new Float64Array(terms * terms);
  const sums = new Float64Array(terms);
  const basis = new Float64Array(10);
  basis[0] = 1;
  for (const { node, phase } of points) {
    const u = (node.x - cx) / reach;
    const v = (node.y - cy) / reach;
    basis[1] = u;
    basis[2] = v;
    basis[3] = u * u;
    basis[4] = u * v;
    basis[5] = v * v;
    basis[6] = u * u * u;
    basis[7] = u * u * v;
    basis[8] = u * v * v;
    basis[9] = v * v * v;
    const w = node.amplitude * node.amplitude * node.support;
    for (let i = 0; i < terms; i++) {
      for (let j = 0; j < terms; j++) products[terms * i + j] += w * basis[i] * basis[j];
      sums[i] += w * basis[i] * phase;
    }
  }
  const a = Matrix.from1DArray(terms, terms, products);
  for (let i = 0; i < terms; i++) a.set(i, i, a.get(i, i) * (1 + 1e-9) + 1e-12);
  return solve(a, Matrix.columnVector(sums)).to1DArray();
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
  const least: Least = { amplitude: options.minAmplitude, support: options.minSupport ?? 0.35 };
  const all = nodes.filter((node) => node.support >= least.support);
  const usable = all.filter((node) => isUsable(node, least));
  const started = unwrap(demodulated, least);
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
      for (const node of usable) {
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
    const lost = usable.length - points.length;
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
