import { cv, pointsToMat, withMats } from '../cv.ts';
import { weightedMedian } from '../lattice/robust.ts';
import { pxToMm, type PictureSize } from '../scale/lens.ts';
import type { ScaledBy, Signs } from '../scale/ruler/heldPlanes.ts';
import { findSegments } from '../scale/segments.ts';
import { shrink } from '../shrink.ts';
import type { Point, RgbImage } from '../types.ts';

/** A straight line, decoded px. */
export interface StraightLine {
  a: Point;
  b: Point;
}

/** Lines are looked for at so many px; shorter ones than this, decoded px of a photo of `SIDE_PX`, tell no direction. */
const SIDE_PX = 1500;
const LEAST_LENGTH_PX = 40;
const LEAST_GRADIENT = 1.2;
/** What lies so near to the piece or to the tape is its edge or its shadow, decoded px. */
const BESIDE_PX = 25;
/** As many of the longest lines say all that more would. */
const MOST_LINES = 500;

/** Straight lines of a floor, a table or a cloth, outside of what lies on it. */
export function linesBeside(rgb: RgbImage, hiddenPx: readonly (readonly Point[])[]): StraightLine[] {
  const { rgb: small, scale } = shrink(rgb, SIDE_PX);
  const found = findSegments(small, {
    minLengthPx: LEAST_LENGTH_PX,
    minGradient: LEAST_GRADIENT,
    blurPx: 1,
  });
  const up = (p: Point): Point => ({ x: (p.x + 0.5) / scale - 0.5, y: (p.y + 0.5) / scale - 0.5 });
  return withMats((keep) => {
    const hulls = hiddenPx.map((outline) => keep(pointsToMat(outline)));
    const isBare = (p: Point): boolean =>
      hulls.every((hull) => cv.pointPolygonTest(hull, new cv.Point(p.x, p.y), true) < -BESIDE_PX);
    return found
      .sort((p, q) => q.lengthPx - p.lengthPx)
      .map(({ a, b }) => ({ a: up(a), b: up(b) }))
      .filter(({ a, b }) =>
        [0, 0.25, 0.5, 0.75, 1].every((t) => isBare({ x: a.x + t * (b.x - a.x), y: a.y + t * (b.y - a.y) })),
      )
      .slice(0, MOST_LINES);
  });
}

/** Lines that seem to be parallel on the table. */
export interface ParallelLines {
  lines: { line: StraightLine; weight: number }[];
  /** Change of their direction over `unitMm` across them by the scale they were found with, rad, and its standard uncertainty. */
  turn: number;
  turnSigma: number;
  /** Scatter of single directions, rad. */
  scatter: number;
  /** Standard deviation of where they lie across, in `unitMm`. */
  spread: number;
  /** Of the length of all lines that were found. */
  share: number;
  lengthPx: number;
}

/** Directions are told apart so finely, rad, and turns are looked for up to so far, rad over the piece's longer side. */
const STEP = 0.008;
const MOST_TURN = 0.24;
/** A long line counts for no more than this at first, px. */
const COUNTS_PX = 400;
/** An end is known to so many px, and a line is as straight as this, rad. */
const END_PX = 1.2;
const STRAIGHT = 0.0015;
const LEAST_LINES = 6;
/** The second family has to lie so far from the first, rad. */
const APART = 0.15;
const ROUNDS = 12;

interface Placed {
  line: StraightLine;
  direction: number;
  x: number;
  y: number;
  lengthPx: number;
  sigma: number;
}

/** A direction without a sense, −π/2…π/2. */
const folded = (angle: number): number => angle - Math.PI * Math.round(angle / Math.PI);

/**
 * The two largest families of lines that are parallel but for a change of direction across them, which grows evenly: lines
 * that are parallel on a plane seem to run together by a plane that leans otherwise.
 */
export function familiesOf(
  lines: readonly StraightLine[],
  by: ScaledBy,
  size: PictureSize,
  unitMm: number,
): ParallelLines[] {
  const placed: Placed[] = lines.map((line) => {
    const [a, b] = [pxToMm(by, line.a, size), pxToMm(by, line.b, size)];
    const lengthPx = Math.hypot(line.b.x - line.a.x, line.b.y - line.a.y);
    return {
      line,
      direction: folded(Math.atan2(b.y - a.y, b.x - a.x)),
      x: (a.x + b.x) / 2,
      y: (a.y + b.y) / 2,
      lengthPx,
      sigma: Math.hypot(END_PX / lengthPx, STRAIGHT),
    };
  });
  const total = placed.reduce((sum, { lengthPx }) => sum + lengthPx, 0);
  const centre = {
    x: placed.reduce((sum, { lengthPx, x }) => sum + lengthPx * x, 0) / total,
    y: placed.reduce((sum, { lengthPx, y }) => sum + lengthPx * y, 0) / total,
  };
  const acrossOf = ({ x, y }: Placed, direction: number): number =>
    (-(x - centre.x) * Math.sin(direction) + (y - centre.y) * Math.cos(direction)) / unitMm;
  const found: ParallelLines[] = [];
  let rest = placed;
  for (let k = 0; k < 2 && rest.length >= LEAST_LINES; k++) {
    const start = likeliestTurn(rest, acrossOf);
    const family = refine(rest, acrossOf, start);
    if (!family) break;
    const { members, direction } = family;
    const lengthPx = members.reduce((sum, { of }) => sum + of.lengthPx, 0);
    found.push({
      ...family,
      lines: members.map(({ of, weight }) => ({ line: of.line, weight })),
      share: lengthPx / total,
      lengthPx,
    });
    const taken = new Set(members.map(({ of }) => of));
    rest = rest.filter((one) => !taken.has(one) && Math.abs(folded(one.direction - direction)) > APART);
  }
  return found;
}

/** Where most lines agree, by counting them for each direction and each turn. */
function likeliestTurn(
  lines: readonly Placed[],
  acrossOf: (one: Placed, direction: number) => number,
): { direction: number; turn: number } {
  const count = Math.ceil(Math.PI / STEP) + 1;
  let best = { votes: 0, direction: 0, turn: 0 };
  for (let turn = -MOST_TURN; turn <= MOST_TURN + STEP / 2; turn += STEP) {
    const votes = new Float64Array(count + 2);
    for (const one of lines) {
      const at = folded(one.direction - turn * acrossOf(one, one.direction)) + Math.PI / 2;
      votes[1 + Math.min(count - 1, Math.max(0, Math.floor(at / STEP)))]! += Math.min(
        one.lengthPx,
        COUNTS_PX,
      );
    }
    for (let i = 1; i <= count; i++) {
      const said = (votes[i]! + 0.5 * (votes[i - 1]! + votes[i + 1]!)) * (1 - 0.3 * Math.abs(turn));
      if (said > best.votes) best = { votes: said, direction: (i - 0.5) * STEP - Math.PI / 2, turn };
    }
  }
  return best;
}

interface Family {
  members: { of: Placed; weight: number }[];
  direction: number;
  turn: number;
  turnSigma: number;
  scatter: number;
  spread: number;
}

/** Least squares with what lies off counted less, and left out beyond two and a half times the scatter. */
function refine(
  lines: readonly Placed[],
  acrossOf: (one: Placed, direction: number) => number,
  start: { direction: number; turn: number },
): Family | null {
  let { direction, turn } = start;
  let tolerance = 0.03;
  let family: Family | null = null;
  for (let round = 0; round < ROUNDS; round++) {
    const members = lines.flatMap((of) => {
      const across = acrossOf(of, direction);
      const off = folded(of.direction - direction - turn * across);
      if (Math.abs(off) > tolerance + 2 * of.sigma) return [];
      const usual = 2 * Math.hypot(of.sigma, tolerance / 4);
      return [{ of, across, off, weight: 1 / (of.sigma ** 2 + 0.002 ** 2) / (1 + (off / usual) ** 2) }];
    });
    if (members.length < LEAST_LINES) return null;
    const line = weightedLine(members);
    if (!line) return null;
    direction += line.offset;
    turn += line.slope;
    const off = weightedMedian(
      members.map((one) => Math.abs(one.off)),
      members.map(({ of }) => of.lengthPx),
    );
    const scatter = 1.48 * off;
    tolerance = Math.max(0.004, 2.5 * scatter);
    family = { members, direction, turn, turnSigma: line.slopeSigma, scatter, spread: line.spread };
  }
  return family;
}

/** Weighted regression; the slope's uncertainty as the residuals say (H. White, Econometrica 48, 1980). */
function weightedLine(points: readonly { across: number; off: number; weight: number }[]) {
  let [w, wc, wcc, wo, woc] = [0, 0, 0, 0, 0];
  for (const { across, off, weight } of points) {
    w += weight;
    wc += weight * across;
    wcc += weight * across * across;
    wo += weight * off;
    woc += weight * off * across;
  }
  const det = w * wcc - wc * wc;
  if (!(det > 0)) return null;
  let squares = 0;
  for (const { across, off, weight } of points) squares += ((weight * off * (w * across - wc)) / det) ** 2;
  return {
    offset: (wo * wcc - woc * wc) / det,
    slope: (w * woc - wc * wo) / det,
    slopeSigma: Math.sqrt(squares),
    spread: Math.sqrt(det) / w,
  };
}

/** How much the direction of a family's lines changes over `unitMm` across them by any scale, rad. */
function turnBy({ lines }: ParallelLines, by: ScaledBy, size: PictureSize, unitMm: number): number {
  let [c, s, x, y, w] = [0, 0, 0, 0, 0];
  const placed = lines.map(({ line, weight }) => {
    const [a, b] = [pxToMm(by, line.a, size), pxToMm(by, line.b, size)];
    const angle = Math.atan2(b.y - a.y, b.x - a.x);
    const middle = { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 };
    c += weight * Math.cos(2 * angle);
    s += weight * Math.sin(2 * angle);
    x += weight * middle.x;
    y += weight * middle.y;
    w += weight;
    return { angle, middle, weight };
  });
  const direction = Math.atan2(s, c) / 2;
  const [cos, sin] = [Math.cos(direction), Math.sin(direction)];
  const line = weightedLine(
    placed.map(({ angle, middle, weight }) => ({
      across: (-(middle.x - x / w) * sin + (middle.y - y / w) * cos) / unitMm,
      off: folded(angle - direction),
      weight,
    })),
  );
  return line?.slope ?? 0;
}

/** Fewer lines, or such as lie close together, say little. */
const LEAST_MEMBERS = 8;
const LEAST_SPREAD = 0.22;
const LEAST_SHARE = 0.12;
const LEAST_TOTAL_PX = 2000;
const MOST_SCATTER = 0.05;
/**
 * Boards and tiles are laid parallel to this over a piece's longer side, rad; what scatters by its grain is less sure, and the
 * residuals' own uncertainty is doubled, since neighbours err alike.
 */
const LAID = 0.003;
const OF_SCATTER = 0.15;
/** How likely lines that seem parallel are so: where each of them fits, and where they are grain or folds. */
const FINE_SCATTER = 0.008;
const PARALLEL = { fine: 0.92, rough: 0.8 };
/** What is known of lines that are not, rad. */
const NOT_PARALLEL = 0.05;

/**
 * What lines of the table say of how it leans: those of one family are parallel, or mostly so.
 *
 * @param unitMm the piece's longer side
 */
export function parallelSigns(family: ParallelLines, size: PictureSize, unitMm: number): Signs | null {
  const { lines, spread, share, lengthPx, scatter, turnSigma } = family;
  if (lines.length < LEAST_MEMBERS || spread < LEAST_SPREAD || share < LEAST_SHARE) return null;
  if (lengthPx < LEAST_TOTAL_PX || scatter > MOST_SCATTER) return null;
  const likely = scatter < FINE_SCATTER ? PARALLEL.fine : PARALLEL.rough;
  return {
    looks: (by) => [turnBy(family, by, size, unitMm)],
    beliefs: [
      { sd: [Math.hypot(LAID, 2 * turnSigma, OF_SCATTER * scatter)], share: likely },
      { sd: [NOT_PARALLEL], share: 1 - likely },
    ],
  };
}
