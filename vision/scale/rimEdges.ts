import type { Point, RgbImage } from '../types.ts';
import { linearLevel, type EdgePoint, type SideFit } from './edgeFit.ts';
import { distance, type Quad } from './geometry.ts';

/** What one looks at beside a side of a card: all widths in px across it. */
export interface RimView {
  /** Width of the card's cut side that shows beyond the face; 0 where the camera stands inside of it. */
  rimPx: number;
  pxPerMm: number;
}

/** Across the side, px. */
const STEP_PX = 0.5;
/** Steps in which the face's edge is tried: to learn the blur, and to place it, px. */
const COARSE_PX = 0.5;
const FINE_PX = 0.125;
/** Places along a block that are averaged, at most. */
const MAX_ALONG = 24;
/** Blurs of the picture that are tried, px (standard deviation). */
const BLURS_PX = [0.6, 0.9, 1.3, 1.9, 2.8, 4.2] as const;
/** Light from the cut side, linear, share of white: the core of most cards is white, and it stands steeply to the light. */
const RIM_LIGHT = { mean: 0.45, sd: 0.25 };
/** Shade at the card's foot, as a share of the table's light, and how far it reaches, mm. */
const SHADE = { mean: -0.2, sd: 0.2, reachMm: 1 };
/** A line of other colour along the face's edge: print ends before it, or a frame goes round. Linear light; its width, mm. */
const FRAME = { sd: 0.06, widthMm: 0.16 };
/** What the model leaves out (sharpening, the table's texture), as a share of the step and in linear light. */
const MISFIT = { share: 0.06, least: 0.01 };
/** The face's edge is looked for this far to both sides of where an edge was found, px. */
const REACH_PX = 2;
/** No edge is placed better than this, px. */
const LEAST_SIGMA_PX = 0.08;

/** Table, rim, face, shade, frame. */
const COLOURS = 5;

/**
 * Places the edge of a card's face, block by block, where the cut side of the card may show beside it.
 *
 * The cut side is a few tenths of a millimetre wide: too narrow to stand alone, wide enough that the steepest place is
 * now the face's edge and now the table's. Each block's mean profile is explained as table, rim, face, shade at the
 * foot and a frame in print, blurred together; what is not known of their light is believed beforehand and taken over
 * all possibilities (a Gaussian linear model), so that an edge that could be either is given as uncertain.
 *
 * @param quad the card's corners, clockwise, decoded px
 * @param views what shows beside each side
 * @returns the points of all sides that were seen, moved to the face's edge
 */
export function rimEdges(
  rgb: RgbImage,
  quad: Quad,
  sides: readonly (SideFit | null)[],
  views: readonly RimView[],
): EdgePoint[] {
  const seen = sides.flatMap((side, i) => {
    if (!side) return [];
    const from = quad[i]!;
    const to = quad[(i + 1) % 4]!;
    const length = distance(from, to);
    const along = { x: (to.x - from.x) / length, y: (to.y - from.y) / length };
    const view = views[i]!;
    const half = Math.ceil((view.rimPx + REACH_PX + 6) / STEP_PX);
    const profiles = side.points.map((p) => profileAt(rgb, p.point, along, length / 20, half));
    return [{ points: side.points, along, view, half, profiles }];
  });
  const placeAll = (blurPx: number, stepPx: number): (Placed | null)[][] =>
    seen.map(({ view, half, profiles }) => {
      const mixes = mixesOf(view, half, blurPx, stepPx);
      return profiles.map((profile) => profile && place(profile, mixes));
    });
  // One lens and one hand blur all sides; a coarse look tells how much.
  let blurPx: number = BLURS_PX[0];
  let least = Infinity;
  for (const candidate of BLURS_PX) {
    const cost = placeAll(candidate, COARSE_PX)
      .flat()
      .reduce((sum, f) => sum + (f?.cost ?? 0), 0);
    if (cost > least) break;
    least = cost;
    blurPx = candidate;
  }
  const placed = placeAll(blurPx, FINE_PX);
  return seen.flatMap(({ points, along }, i) =>
    points.map((point, k) => {
      const edge = placed[i]![k];
      if (!edge) return point;
      const { x, y } = point.point;
      return {
        ...point,
        point: { x: x - along.y * edge.offsetPx, y: y + along.x * edge.offsetPx },
        sigmaPx: Math.max(LEAST_SIGMA_PX, edge.sigmaPx),
      };
    }),
  );
}

/** Mean linear light across a side: R, G, B at each of `2 half + 1` samples, from outside to inside. */
interface Profile {
  count: number;
  data: Float64Array;
}

function profileAt(rgb: RgbImage, at: Point, along: Point, reachPx: number, half: number): Profile | null {
  const count = 2 * half + 1;
  const data = new Float64Array(3 * count);
  const places = Math.max(3, Math.min(MAX_ALONG, Math.round(2 * reachPx)));
  const { data: pixels, widthPx, heightPx } = rgb;
  for (let s = 0; s < places; s++) {
    const t = ((s + 0.5) / places - 0.5) * 2 * reachPx;
    for (let k = 0; k < count; k++) {
      const o = (k - half) * STEP_PX;
      const x = at.x + t * along.x - o * along.y;
      const y = at.y + t * along.y + o * along.x;
      if (x < 0 || y < 0 || x > widthPx - 1.01 || y > heightPx - 1.01) return null;
      const ix = x | 0;
      const iy = y | 0;
      const fx = x - ix;
      const fy = y - iy;
      const j = 3 * (iy * widthPx + ix);
      const d = j + 3 * widthPx;
      for (let c = 0; c < 3; c++) {
        const level =
          (1 - fy) * ((1 - fx) * pixels[j + c]! + fx * pixels[j + 3 + c]!) +
          fy * ((1 - fx) * pixels[d + c]! + fx * pixels[d + 3 + c]!);
        data[3 * k + c]! += linearLevel(level) / 255 / places;
      }
    }
  }
  return { count, data };
}

/** What is seen at each sample when the face's edge lies at `xPx`: blurred shares of all colours. */
interface Mix {
  xPx: number;
  /** `COLOURS` a sample. */
  shares: Float64Array;
  /** Sums of their products, the lower triangle. */
  products: Float64Array;
}

function mixesOf(view: RimView, half: number, blurPx: number, stepPx: number): Mix[] {
  const framePx = FRAME.widthMm * view.pxPerMm;
  const shadePx = SHADE.reachMm * view.pxPerMm;
  const count = 2 * half + 1;
  const mixes: Mix[] = [];
  for (let xPx = -REACH_PX; xPx <= REACH_PX + view.rimPx + 1e-9; xPx += stepPx) {
    const shares = new Float64Array(COLOURS * count);
    for (let k = 0; k < count; k++) {
      const u = (k - half) * STEP_PX - xPx;
      const beyondRim = normalShare((u + view.rimPx) / blurPx);
      const beyondFace = normalShare(u / blurPx);
      const o = COLOURS * k;
      shares[o] = 1 - beyondRim;
      shares[o + 1] = beyondRim - beyondFace;
      shares[o + 2] = beyondFace;
      shares[o + 3] = (1 - beyondRim) * Math.exp(Math.min(0, u + view.rimPx) / shadePx);
      shares[o + 4] = beyondFace - normalShare((u - framePx) / blurPx);
    }
    const products = new Float64Array(COLOURS * COLOURS);
    for (let k = 0; k < count; k++)
      for (let a = 0; a < COLOURS; a++)
        for (let b = 0; b <= a; b++)
          products[a * COLOURS + b]! += shares[COLOURS * k + a]! * shares[COLOURS * k + b]!;
    mixes.push({ xPx, shares, products });
  }
  return mixes;
}

interface Placed {
  /** How far inside of where the edge was found before, px. */
  offsetPx: number;
  sigmaPx: number;
  cost: number;
}

/** The face's edge in one profile: mean and standard deviation over all places where it may be. */
function place(profile: Profile, mixes: readonly Mix[]): Placed {
  const { count, data } = profile;
  const table = meanOf(data, 0, 4);
  const face = meanOf(data, count - 4, count);
  const step = Math.hypot(...table.map((v, c) => (face[c]! - v) / Math.sqrt(3)));
  // Samples half a pixel apart, and what blur and compression make alike, say less than as many by themselves.
  const variance = 3 * (MISFIT.least ** 2 + (MISFIT.share * step) ** 2);
  const believed = table.map((light, c) => ({
    means: [light, RIM_LIGHT.mean, face[c]!, SHADE.mean * light, 0],
    sds: [1, RIM_LIGHT.sd, 1, SHADE.sd * light + 0.005, FRAME.sd],
  }));
  const costs = mixes.map((mix) =>
    believed.reduce((sum, { means, sds }, c) => sum + leastCost(mix, data, c, variance, means, sds), 0),
  );
  const least = Math.min(...costs);
  let weight = 0;
  let mean = 0;
  let square = 0;
  for (let i = 0; i < mixes.length; i++) {
    const w = Math.exp((least - costs[i]!) / 2);
    const { xPx } = mixes[i]!;
    weight += w;
    mean += w * xPx;
    square += w * xPx * xPx;
  }
  mean /= weight;
  return { offsetPx: mean, sigmaPx: Math.sqrt(Math.max(0, square / weight - mean * mean)), cost: least };
}

function meanOf(data: Float64Array, from: number, to: number): [number, number, number] {
  const sum: [number, number, number] = [0, 0, 0];
  for (let k = from; k < to; k++) for (let c = 0; c < 3; c++) sum[c]! += data[3 * k + c]! / (to - from);
  return sum;
}

/** Share of a normal distribution below z, to 2 · 10⁻³ (logistic approximation by Bowling et al., 2009). */
function normalShare(z: number): number {
  return 1 / (1 + Math.exp(-(0.07056 * z * z * z + 1.5976 * z)));
}

/** Room to solve in, written over each time. */
const ROOT = new Float64Array(COLOURS * COLOURS);
const RIGHT = new Float64Array(COLOURS);

/** How ill one channel is explained by a mix whose colours are as likely as believed, as −2 ln(probability). */
function leastCost(
  { shares, products }: Mix,
  data: Float64Array,
  channel: number,
  variance: number,
  means: readonly number[],
  sds: readonly number[],
): number {
  const n = COLOURS;
  // With d the colours' deviations from belief: (DᵀD / v + 1 / s²) d = Dᵀr / v, cost = rᵀr / v − dᵀDᵀr / v.
  const [m0, m1, m2, m3, m4] = means as [number, number, number, number, number];
  RIGHT.fill(0);
  let squares = 0;
  for (let o = 0, k = channel; o < shares.length; o += n, k += 3) {
    const r =
      data[k]! -
      m0 * shares[o]! -
      m1 * shares[o + 1]! -
      m2 * shares[o + 2]! -
      m3 * shares[o + 3]! -
      m4 * shares[o + 4]!;
    squares += r * r;
    for (let i = 0; i < n; i++) RIGHT[i]! += shares[o + i]! * r;
  }
  // Cholesky with forward substitution: what comes out, squared, is dᵀDᵀr / v.
  let gain = 0;
  let logDeterminant = 0;
  for (let i = 0; i < n; i++) {
    let right = RIGHT[i]! / variance;
    for (let j = 0; j < i; j++) {
      let sum = products[i * n + j]! / variance;
      for (let k = 0; k < j; k++) sum -= ROOT[i * n + k]! * ROOT[j * n + k]!;
      ROOT[i * n + j] = sum / ROOT[j * n + j]!;
    }
    let pivot = products[i * n + i]! / variance + 1 / sds[i]! ** 2;
    for (let k = 0; k < i; k++) {
      pivot -= ROOT[i * n + k]! ** 2;
      right -= ROOT[i * n + k]! * RIGHT[k]!;
    }
    ROOT[i * n + i] = Math.sqrt(Math.max(1e-12, pivot));
    RIGHT[i] = right / ROOT[i * n + i]!;
    gain += RIGHT[i]! ** 2;
    logDeterminant += Math.log(Math.max(1e-12, pivot));
  }
  return squares / variance - gain + logDeterminant;
}
