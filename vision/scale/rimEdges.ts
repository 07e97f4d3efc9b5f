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
/** The picture's file holds colour more coarsely than brightness: what that adds to the blur of colour, px. */
const COLOUR_BLUR_PX = 1;
/**
 * Light from the cut side, linear, share of white: the core of most cards is white, and it stands steeply to the light.
 * How coloured it may be.
 */
const RIM_LIGHT = { mean: 0.45, sd: 0.25, colourSd: 0.08 };
/**
 * Shade beside the card, as shares of the table's light: at its foot, where it fades with distance, and what a lamp on
 * the other side throws, as wide as it stands low, with a soft end, mm. A card 0.76 mm thick throws 1.6 mm under a lamp
 * 25° above the table. It dims all colours much alike: how much less they differ.
 */
const FOOT_SHADE = { mean: -0.1, reachMm: 0.7 };
const THROWN_SHADE = { mean: -0.05, widthsMm: [0.8, 1.6, 2.8], softMm: 0.35 };
const SHADE_SD = 0.1;
const SHADE_COLOUR_SD = 0.3;
/** A line of other colour along the face's edge: print ends before it, or a frame goes round. Linear light; its width, mm. */
const FRAME = { sd: 0.06, widthMm: 0.16 };
/** What the model leaves out (sharpening, the table's texture), as a share of the step and in linear light. */
const MISFIT = { share: 0.06, least: 0.01 };
/** The face's edge is looked for this far to both sides of where an edge was found, px. */
const REACH_PX = 2;
/** No edge is placed better than this, px. */
const LEAST_SIGMA_PX = 0.08;

/** Table, rim, face, frame, shade at the foot, shades thrown. */
const COLOURS = 5 + THROWN_SHADE.widthsMm.length;
const SHADE_MEANS = [FOOT_SHADE.mean, ...THROWN_SHADE.widthsMm.map(() => THROWN_SHADE.mean)];
/** Brightness and two differences of colour, from red, green and blue: a rotation. */
const OPPOSED = [
  [1, 1, 1],
  [1, 0, -1],
  [1, -2, 1],
].map((row) => row.map((v) => v / Math.hypot(...row))) as [Light, Light, Light];
type Light = [number, number, number];
const toOpposed = ([r, g, b]: Light): Light => OPPOSED.map(([x, y, z]) => x * r + y * g + z * b) as Light;

/**
 * Places the edge of a card's face, block by block, where the cut side of the card may show beside it.
 *
 * The cut side is a few tenths of a millimetre wide: too narrow to stand alone, wide enough that the steepest place is
 * now the face's edge and now the table's. Each block's mean profile is explained as table, shade, rim, face and a frame
 * in print, blurred together; what is not known of their light is believed beforehand and taken over all possibilities
 * (a Gaussian linear model), so that an edge that could be either is given as uncertain. Shade is told by being the
 * table's own colour, only darker, and may be several millimetres wide: a card of its table's colour stands out by
 * nothing else.
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
      const colourMixes = mixesOf(view, half, Math.hypot(blurPx, COLOUR_BLUR_PX), stepPx);
      return profiles.map((profile) => profile && place(profile, mixes, colourMixes));
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

/** Mean linear light across a side at each of `2 half + 1` samples, from outside to inside. */
interface Profile {
  /** Red, green and blue a little off to both sides. */
  table: Light;
  face: Light;
  /** Brightness and differences of colour, each at all samples. */
  opposed: readonly [Float64Array, Float64Array, Float64Array];
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
  const opposed = OPPOSED.map(([x, y, z]) =>
    Float64Array.from(
      { length: count },
      (_, k) => x * data[3 * k]! + y * data[3 * k + 1]! + z * data[3 * k + 2]!,
    ),
  ) as [Float64Array, Float64Array, Float64Array];
  return { table: meanOf(data, 0, 4), face: meanOf(data, count - 4, count), opposed };
}

/** What is seen at each sample when the face's edge lies at `xPx`: blurred shares of all colours. */
interface Mix {
  xPx: number;
  /** `COLOURS` a sample. */
  shares: Float64Array;
  /** Sums of their products. */
  products: Float64Array;
}

function mixesOf(view: RimView, half: number, blurPx: number, stepPx: number): Mix[] {
  const { rimPx, pxPerMm } = view;
  const framePx = FRAME.widthMm * pxPerMm;
  const footPx = FOOT_SHADE.reachMm * pxPerMm;
  const softPx = Math.hypot(blurPx, THROWN_SHADE.softMm * pxPerMm);
  const count = 2 * half + 1;
  const n = COLOURS;
  const mixes: Mix[] = [];
  for (let xPx = -REACH_PX; xPx <= REACH_PX + rimPx + 1e-9; xPx += stepPx) {
    const shares = new Float64Array(n * count);
    for (let k = 0; k < count; k++) {
      const u = (k - half) * STEP_PX - xPx;
      const beyondRim = normalShare((u + rimPx) / blurPx);
      const beyondFace = normalShare(u / blurPx);
      const away = Math.min(0, u + rimPx);
      const o = n * k;
      shares[o] = 1 - beyondRim;
      shares[o + 1] = beyondRim - beyondFace;
      shares[o + 2] = beyondFace;
      shares[o + 3] = beyondFace - normalShare((u - framePx) / blurPx);
      shares[o + 4] = (1 - beyondRim) * Math.exp(away / footPx);
      for (let w = 0; w < THROWN_SHADE.widthsMm.length; w++)
        shares[o + 5 + w] =
          (1 - beyondRim) * normalShare((away + THROWN_SHADE.widthsMm[w]! * pxPerMm) / softPx);
    }
    const products = new Float64Array(n * n);
    for (let a = 0; a < n; a++)
      for (let b = 0; b <= a; b++) {
        let sum = 0;
        for (let o = 0; o < shares.length; o += n) sum += shares[o + a]! * shares[o + b]!;
        products[a * n + b] = products[b * n + a] = sum;
      }
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
function place(profile: Profile, mixes: readonly Mix[], colourMixes: readonly Mix[]): Placed {
  const { table, face, opposed } = profile;
  const step = Math.hypot(...table.map((v, c) => face[c]! - v)) / Math.sqrt(3);
  // Samples half a pixel apart, and what blur and compression make alike, say less than as many by themselves.
  const variance = 3 * (MISFIT.least ** 2 + (MISFIT.share * step) ** 2);
  const shadeSd = SHADE_SD * (Math.hypot(...table) / Math.sqrt(3)) + 0.005;
  const [tableSeen, faceSeen] = [toOpposed(table), toOpposed(face)];
  const rimSeen = toOpposed([RIM_LIGHT.mean, RIM_LIGHT.mean, RIM_LIGHT.mean]);
  const means = opposed.map((_, c) => [
    tableSeen[c]!,
    rimSeen[c]!,
    faceSeen[c]!,
    0,
    ...SHADE_MEANS.map((share) => share * tableSeen[c]!),
  ]);
  const sds = (rim: number, shade: number): number[] => [
    1,
    rim,
    1,
    FRAME.sd,
    ...SHADE_MEANS.map(() => shade),
  ];
  const bright = sds(Math.sqrt(3) * RIM_LIGHT.sd, Math.sqrt(3) * shadeSd);
  const coloured = sds(RIM_LIGHT.colourSd, SHADE_COLOUR_SD * shadeSd);
  const costs = mixes.map((mix, i) => {
    const colourMix = colourMixes[i]!;
    const own = factor(mix, variance, bright) + leastCost(mix, opposed[0], variance, means[0]!);
    // both differences are believed to scatter alike
    const determinant = factor(colourMix, variance, coloured);
    return (
      own +
      2 * determinant +
      leastCost(colourMix, opposed[1], variance, means[1]!) +
      leastCost(colourMix, opposed[2], variance, means[2]!)
    );
  });
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

function meanOf(data: Float64Array, from: number, to: number): Light {
  const sum: Light = [0, 0, 0];
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

/**
 * Leaves in `ROOT` the Cholesky factor of DᵀD / v + 1 / s² for a mix D whose colours scatter by s about what is believed.
 *
 * @returns ln of its determinant
 */
function factor({ products }: Mix, variance: number, sds: readonly number[]): number {
  const n = COLOURS;
  let logDeterminant = 0;
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = products[i * n + j]! / variance;
      if (i === j) sum += 1 / sds[i]! ** 2;
      for (let k = 0; k < j; k++) sum -= ROOT[i * n + k]! * ROOT[j * n + k]!;
      if (i > j) ROOT[i * n + j] = sum / ROOT[j * n + j]!;
      else {
        const pivot = Math.max(1e-12, sum);
        ROOT[i * n + i] = Math.sqrt(pivot);
        logDeterminant += Math.log(pivot);
      }
    }
  }
  return logDeterminant;
}

/** How ill one channel is explained by the mix that `ROOT` belongs to, as −2 ln(probability) without the determinant. */
function leastCost(
  { shares, products }: Mix,
  data: Float64Array,
  variance: number,
  means: readonly number[],
): number {
  const n = COLOURS;
  // With m what is believed, r = data − D m and d the deviations from it: cost = (rᵀr − dᵀDᵀr) / v.
  RIGHT.fill(0);
  let squares = 0;
  for (let k = 0, o = 0; k < data.length; k++, o += n) {
    const v = data[k]!;
    squares += v * v;
    for (let i = 0; i < n; i++) RIGHT[i]! += v * shares[o + i]!;
  }
  for (let i = 0; i < n; i++) {
    let believed = 0;
    for (let j = 0; j < n; j++) believed += products[i * n + j]! * means[j]!;
    // (data + r)ᵀ D m = 2 dataᵀ D m − mᵀDᵀD m
    squares -= means[i]! * (2 * RIGHT[i]! - believed);
    RIGHT[i]! -= believed;
  }
  let gain = 0;
  for (let i = 0; i < n; i++) {
    let right = RIGHT[i]! / variance;
    for (let k = 0; k < i; k++) right -= ROOT[i * n + k]! * RIGHT[k]!;
    RIGHT[i] = right / ROOT[i * n + i]!;
    gain += RIGHT[i]! ** 2;
  }
  return squares / variance - gain;
}
