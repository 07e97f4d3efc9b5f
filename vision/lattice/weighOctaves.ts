import type { LatticeFit } from '../fitLattice.ts';
import { openOnce } from '../network.ts';
import { STITCH_KEYS, type GrayImage, type Point, type StitchKey } from '../types.ts';
import { layOut, type Layout, type Window } from './layOut.ts';
import { poolStrain } from './poolStrain.ts';
import { READABLE_PITCH_PX } from './readTexture.ts';
import { sineOfAxes } from './sineOfAxes.ts';
import { softmax } from './softmax.ts';

/** What the octave check makes of a lattice. */
export interface OctaveOdds {
  /** How likely the cloth has so many times the stitches and rows that were read; the first is as read. */
  ways: { stitch: number; row: number; weight: number }[];
  /** How likely the lattice is another altogether. All weights sum to 1. */
  other: number;
  /** What the cloth looks like, laid out on the lattice; sums to 1. */
  looksLike: { stitch: StitchKey; weight: number }[];
  /** By what the lattice is off, half and twice apart. */
  strain: { stitch: Strain; row: Strain };
}

/** Natural logarithm of how many stitches (or rows) there are to one of the lattice, and how sure that is. */
export interface Strain {
  log: number;
  standardUncertainty: number;
}

/** From how far a second network sees the cloth. */
interface View extends Layout {
  /** Geometric mean pitch at which the cloth is sampled, and by how much it is blown up at most for that, px. */
  bestPitchPx: number;
  mostBlownUp: number;
  open: ReturnType<typeof openOnce>;
}

/** Many stitches, each of them small. */
const FAR: View = {
  cells: 10,
  cellPx: 16,
  bestPitchPx: READABLE_PITCH_PX.best,
  mostBlownUp: 2.5,
  boxPx: 25,
  open: openOnce(new URL('./model/octaves.onnx', import.meta.url)),
};

/** Few stitches, and of these every strand. */
const CLOSE: View = {
  cells: 5,
  cellPx: 32,
  bestPitchPx: 2 * READABLE_PITCH_PX.best,
  mostBlownUp: 1.15,
  boxPx: 51,
  // Three of four photos are clear from far.
  open: openOnce(new URL('./model/strands.onnx', import.meta.url), { ahead: false }),
};

/** Smaller stitches show no more from close by. */
const CLOSE_FROM_PX = 17;

/** What is as likely as this from far needs no closer look: of 1029 such readings of development photos six were wrong. */
const CLEAR_FROM_FAR = 0.98;

/**
 * How much each view counts where both were asked. They see the same cloth, so that their words are not added up in full:
 * near the weights with the least cross entropy, both on 671 readings of development photos (0.20 from far alone, 0.18) and
 * on 47 of real ones that were not shown in training (0.18, 0.13).
 */
const COUNTS = { far: 0.5, close: 0.6 };

/** Where a network says how likely the lattice is right as read. */
const AS_READ = 4;

/** So many windows, far apart from each other. */
const MOST_WINDOWS = 6;

/**
 * Lays some places of the cloth out on the lattice that was read there and asks a second network whether it is the right
 * one, or half or twice the rows or stitches, or another altogether.
 *
 * The network that reads the cloth has to find rows and stitches in any pose and at any size; laid out, with ten cells of
 * the lattice to a window, only the counting is left to be seen, and one network checks the other. It is trained on
 * generated cloth laid out rightly and wrongly (`fixtures/training/trainOctaves.py`) with the cross entropy, a proper
 * score, so that its answers are probabilities (Gneiting and Raftery, J. Am. Stat. Assoc. 102, 2007); the windows are
 * pooled as a set (Zaheer et al., "Deep Sets", NeurIPS 2017).
 *
 * What is not clear so is looked at once more from close by, as a person would: in five cells to a window each strand of
 * yarn is seen, which tells fabrics apart whose rows look alike. Both answers are pooled by their logarithms (Genest and
 * Zidek, Stat. Sci. 1, 1986). It is also looked at mirrored, stitches the other way round, which is the same cloth by a
 * left hand: what a network says of both, less what it only says of one, is surer than either.
 *
 * @param picture the luma that the lattice was fitted to
 * @param told the stitch that the maker names
 *
 * @example
 * const odds = await weighOctaves(picture, lattice);
 * odds.ways[0].weight; // how likely the lattice counts rightly
 */
export async function weighOctaves(
  picture: GrayImage,
  lattice: LatticeFit,
  told?: StitchKey,
): Promise<OctaveOdds> {
  const places = placesApart(lattice).map((place) => ({ place, ...stepsAt(lattice, place) }));
  const mirrored = places.map((one) => ({ ...one, stitch: { x: -one.stitch.x, y: -one.stitch.y } }));
  const first = await ask(FAR, picture, lattice, places, told);
  const isClear = softmax(first.way)[AS_READ] >= CLEAR_FROM_FAR;
  const askBothWays = async (view: View, one?: Answer) =>
    meanAnswer(
      one ?? (await ask(view, picture, lattice, places, told)),
      await ask(view, picture, lattice, mirrored, told),
    );
  const far = isClear ? first : await askBothWays(FAR, first);
  const isSmall = places.reduce((sum, one) => sum + sizeOf(one), 0) / places.length < CLOSE_FROM_PX;
  const close = isClear || isSmall ? null : await askBothWays(CLOSE);
  const way = close ? pooled(far.way, close.way) : softmax(far.way);
  const kind = close ? pooled(far.kind, close.kind) : softmax(far.kind);
  const ways = [0, 1, 2].flatMap((a) =>
    [0, 1, 2].map((b) => ({ stitch: 2 ** (a - 1), row: 2 ** (b - 1), weight: way[3 * a + b] })),
  );
  const isAsRead = (one: (typeof ways)[number]) => one.stitch === 1 && one.row === 1;
  return {
    ways: [
      ...ways.filter(isAsRead),
      ...ways.filter((one) => !isAsRead(one)).sort((a, b) => b.weight - a.weight),
    ],
    other: way[9],
    strain: poolStrain(first.strain),
    looksLike: STITCH_KEYS.map((stitch, i) => ({ stitch, weight: kind[i] })).sort(
      (a, b) => b.weight - a.weight,
    ),
  };
}

/** Logits of each way to count and of each kind of stitch; what it says of the strain, where it says that. */
interface Answer {
  way: Float32Array;
  kind: Float32Array;
  strain: Float32Array;
}

/** The mean of two answers about the same places; the strain is the first one's. */
function meanAnswer(a: Answer, b: Answer): Answer {
  const mean = (one: Float32Array, other: Float32Array) => one.map((logit, i) => (logit + other[i]!) / 2);
  return { way: mean(a.way, b.way), kind: mean(a.kind, b.kind), strain: a.strain };
}

/** Probabilities from the logits of both views. */
function pooled(far: Float32Array, close: Float32Array): number[] {
  return softmax(far.map((logit, i) => COUNTS.far * logit + COUNTS.close * close[i]!));
}

/** What the network of one view makes of the lattice. */
async function ask(
  view: View,
  picture: GrayImage,
  lattice: LatticeFit,
  places: readonly Stepped[],
  told: StitchKey | undefined,
): Promise<Answer> {
  const side = view.cells * view.cellPx;
  const plane = side * side;
  const windows = new Float32Array(places.length * 2 * plane);
  let aspect = 0;
  let sampled = 0;
  places.forEach((one, i) => {
    const { stitch, row } = one;
    const size = sizeOf(one);
    const scale = Math.min(view.mostBlownUp, view.bestPitchPx / size);
    const seen = layOut(view, picture, lattice, { ...one, scale });
    windows.set(seen.texture, 2 * i * plane);
    windows.set(seen.cloth, (2 * i + 1) * plane);
    aspect += Math.log2(length(row) / length(stitch)) / places.length;
    sampled += Math.log2((scale * size) / view.bestPitchPx) / places.length;
  });
  const about = new Float32Array(STITCH_KEYS.length + 3);
  about[0] = aspect;
  about[1] = sampled;
  about[2 + (told ? STITCH_KEYS.indexOf(told) : STITCH_KEYS.length)] = 1;
  const { runtime, session } = await view.open();
  const result = await session.run({
    windows: new runtime.Tensor('float32', windows, [places.length, 2, side, side]),
    about: new runtime.Tensor('float32', about, [1, about.length]),
  });
  const { way, kind, strain } = result;
  return {
    way: way.data as Float32Array,
    kind: kind.data as Float32Array,
    strain: strain?.data as Float32Array,
  };
}

/** A place of the cloth, and the steps of the lattice there. */
type Stepped = Omit<Window, 'scale'>;

const length = (v: Point) => Math.hypot(v.x, v.y);

/** Geometric mean pitch there, picture pixels. */
const sizeOf = ({ stitch, row }: Stepped) => Math.sqrt(length(stitch) * length(row));

/** From a place to the next stitch and to the next row, picture pixels. */
function stepsAt(lattice: LatticeFit, { x, y }: Point): { stitch: Point; row: Point } {
  const cell = lattice.cellAt(x, y);
  const along = (deg: number, by: number): Point => ({
    x: by * Math.cos((deg * Math.PI) / 180),
    y: by * Math.sin((deg * Math.PI) / 180),
  });
  return {
    stitch: along(cell.stitchAngleDeg, cell.stitchPitchPx),
    row: along(cell.rowAngleDeg, cell.rowPitchPx / sineOfAxes(cell)),
  };
}

/** Places of the lattice well inside the cloth and far from each other, counted in cells. */
function placesApart(lattice: LatticeFit): Point[] {
  const every = Math.ceil(lattice.places.length / 120);
  const candidates = lattice.places
    .filter((_, i) => i % every === 0)
    .map(({ x, y }) => ({
      x,
      y,
      s: lattice.stitchPhaseAt(x, y),
      r: lattice.rowPhaseAt(x, y),
      cloth: clothAbout(lattice, { x, y }),
    }));
  const most = Math.max(...candidates.map((c) => c.cloth));
  const inside = candidates.filter((c) => c.cloth >= 0.85 * most);
  const chosen = [inside.find((c) => c.cloth === most)!];
  while (chosen.length < MOST_WINDOWS) {
    const apart = (c: (typeof inside)[number]) =>
      Math.min(...chosen.map((o) => Math.hypot(c.s - o.s, c.r - o.r)));
    const next = inside.reduce((a, b) => (apart(b) > apart(a) ? b : a));
    // Two windows within a few cells of each other see the same.
    if (apart(next) < 2.5) break;
    chosen.push(next);
  }
  return chosen;
}

/** Share of cloth in the window about a place. */
function clothAbout(lattice: LatticeFit, place: Point): number {
  const { stitch, row } = stepsAt(lattice, place);
  let sum = 0;
  for (const u of [-4, -2, 0, 2, 4]) {
    for (const v of [-4, -2, 0, 2, 4]) {
      sum += lattice.clothAt(place.x + u * stitch.x + v * row.x, place.y + u * stitch.y + v * row.y) / 25;
    }
  }
  return sum;
}
