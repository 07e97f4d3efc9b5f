import { median } from 'simple-statistics';
import { birgeMean } from '../birgeMean.ts';
import { CLEAR_AGREEMENT } from '../agreeOnLattice.ts';
import { edgeLengths, seenIn, wholeCount, type EdgeCounts, type EdgeLength } from '../countEdgeToEdge.ts';
import type { LatticeFit } from '../fitLattice.ts';
import type { Evidence, Verdict } from '../judge.ts';
import { centroid, contains, distance, mix } from '../scale/geometry.ts';
import type { Point, ReferenceKind, StitchKey, WholeCount } from '../types.ts';
import type { CountedAxis, SeenCloth } from './edgeStrip.ts';
import { lengthByStrips, type Cover, type LengthByStrips } from './lengthByStrips.ts';
import type { PieceOutline } from './pieceOutline.ts';

/**
 * What a maker counts ends where the last stitch ends; the outline runs where the yarn does: beyond the stitches lie
 * the foundation chain and the loops of the last row (about 0.75 and 0.45 stitch widths in crochet, 0.6 and 0.6 in
 * knitting), and the turned edges at the sides. So much at both ends together, in stitch widths, in the middle of 136
 * development photos; one fabric's two edges together differ from another's by 0.3 (standard deviation).
 */
const BEYOND_ROWS = 1.2;
const BEYOND_STITCHES = 0.97;
/** Purl bumps at either end lie lower. */
const BEYOND_PURLED_ROWS = 1.0;
const PURLED: ReadonlySet<StitchKey> = new Set(['garter', 'seed', 'reverse-stockinette']);
/** Low crochet rows bulge where they turn. */
const BEYOND_LOW_STITCHES = 1.3;
const LOW: ReadonlySet<StitchKey> = new Set(['sc', 'moss', 'blo-rib', 'herringbone-hdc']);
/** Weights of the two counts, by their scatter on the same photos. */
const CLOTH_WEIGHT = 0.25;
const OUTLINE_WEIGHT = 0.75;
/** Standard uncertainty of a count by cloth and outline together, and by one of them, before it is made whole. */
const BOTH_U = 0.25;
const ONE_U = 0.35;
/** Standard uncertainty of the lattice itself from edge to edge, in stitches or rows. */
const LATTICE_U = 0.05;
/** Edges read as surely as this need not be looked for from elsewhere. */
const SURELY_READ = 0.35;
/** Places along a side, and at so many of them both edges have to be seen: something may lie on others. */
const PLACES = 20;
const LEAST_PLACES = 6;
/** A lattice may be carried on beyond what was read by so many stitches or rows, and by such a share of what was read. */
const CARRIED_ON = 3;
const CARRIED_ON_SHARE = 0.1;
/**
 * How near a thing must lie to hide an edge (`Cover`): a ruler is seen only roughly, while a card, a sheet and paper are
 * outlined to a pixel or two, and cloth that goes on beneath one of these ends right at its outline.
 */
const SEEN = { nearYarn: 0.75, nearEnd: 0.75 };
const WELL_OUTLINED = { nearYarn: 0.25, nearEnd: 0.3 };
const WELL_OUTLINED_KINDS: ReadonlySet<ReferenceKind> = new Set(['card', 'paper', 'sheet']);
/** A thing that covers a larger share of the places where stitches were read does not lie over them. */
const MOST_COVERED = 0.15;
/** Corners are left out: shares of the way. */
const FROM = 0.1;
const TO = 0.9;
/** A doubtful outline that holds so many more rows or stitches than were counted, or such a share, speaks against them. */
const FAR_MORE = 1.5;
const FAR_MORE_SHARE = 0.15;
/** This doubt is whether the outline runs along the piece or along a border or rug around it. */
const MAY_BE_BEYOND = 'rim-unlike';
const NOTHING = { stitches: null, rows: null };
/** Doubts about an outline that say nothing against where its edges are seen. */
const HARMLESS: ReadonlySet<string> = new Set([
  'size-uncertain',
  'large-piece-small-reference',
  'lean-unclear',
  'tape-far-off',
]);

/**
 * Stitches and rows of a piece, counted to its edges in three ways that err differently: to where the stitches are seen
 * to end (`lengthByStrips`), to the outline, and to the edges of what looks like cloth.
 *
 * Nothing is counted where two ways of reading the stitches disagree: of 22 such counts of rows on development photos 10
 * were off by two and more, of 297 others two.
 *
 * @param evidence what the reading of the stitches rests on
 * @param verdict on that reading
 * @param piece null where no outline was looked for
 */
export async function countWithOutline(
  evidence: Evidence,
  verdict: Pick<Verdict, 'advice'>,
  piece: PieceOutline | null,
): Promise<EdgeCounts> {
  if (verdict.advice.some(({ code }) => code === 'readings-disagree')) return NOTHING;
  const { lattice, flat, photo, mean, options } = evidence;
  const covers = coversOf(evidence);
  const isInView = seenIn(flat, lattice);
  const byCloth = edgeLengths(
    lattice,
    (x, y) => isInView(x, y) && !covers.some(({ isUnder }) => isUnder({ x, y })),
  );
  const stitch = options.stitch ?? lattice.looksLike[0]?.stitch ?? null;
  const aspect = mean.row.pitchPx / mean.stitch.pitchPx;
  const doubts = (piece?.advice ?? []).filter(({ code }) => !HARMLESS.has(code));
  const isOfPiece = doubts.every(({ code }) => code !== MAY_BE_BEYOND);
  const outline = piece && piece.status !== 'refused' && isOfPiece ? piece.contourPx : null;
  const toFlat = (p: Point): Point =>
    flat.toRectified({
      x: (p.x + 0.5) * photo.decodeScale - 0.5,
      y: (p.y + 0.5) * photo.decodeScale - 0.5,
    });
  const seen = outline
    ? outlineLengths(lattice, seenEdges(outline.map(toFlat), mean.stitch.pitchPx, covers), { aspect, stitch })
    : NOTHING;
  // A doubtful outline says where to look, and that there may be more; what is counted is counted without it.
  const [byOutline, doubtful] = doubts.length === 0 ? [seen, NOTHING] : [NOTHING, seen];
  const cloth: SeenCloth = { gray: photo.gray, toGray: (p) => flat.toDecoded(p), lattice };
  const count = async (axis: CountedAxis): Promise<WholeCount | null> => {
    const rough = [byOutline[axis], byCloth[axis], doubtful[axis]].filter((one) => one !== null);
    let read: LengthByStrips | null = null;
    for (const { ends } of rough) {
      if (read && read.standardUncertainty < SURELY_READ) break;
      const found = await lengthByStrips(cloth, { axis, ends, aspect, covers });
      if (found && !(read && read.standardUncertainty < found.standardUncertainty)) read = found;
    }
    const length = agreed(
      read && { ...read, standardUncertainty: Math.hypot(LATTICE_U, read.standardUncertainty) },
      alongYarn(byCloth[axis], byOutline[axis]),
    );
    if (!length || (rough[0] === doubtful[axis] && length.standardUncertainty > SURELY_READ)) return null;
    const more = doubtful[axis] ? doubtful[axis].exact - length.exact : 0;
    if (more > Math.max(FAR_MORE, FAR_MORE_SHARE * length.exact)) return null;
    return wholeCount(length.exact, length.standardUncertainty);
  };
  return { stitches: await count('stitches'), rows: await count('rows') };
}

/** What may lie over the cloth: the thing that gave the scale, and whatever else is seen to be a ruler, a tape or a card. */
function coversOf({ scale, flat, isCovered, mean, lattice }: Evidence): Cover[] {
  const outline = scale && scale.outlinePx.length > 2 ? scale.outlinePx : null;
  const isWellOutlined = outline !== null && WELL_OUTLINED_KINDS.has(scale!.kind);
  const around = isWellOutlined ? outline.map((p) => flat.toRectified(p)) : [];
  const near = SEEN.nearYarn * mean.stitch.pitchPx;
  const covers: Cover[] = [
    {
      isUnder: (p) => outline !== null && contains(outline, flat.toDecoded(p)),
      ...(isWellOutlined ? WELL_OUTLINED : SEEN),
    },
    {
      // Close by an outline that is known, what is seen there is that thing.
      isUnder: (p) => isCovered(flat.toDecoded(p)) && !(distanceToOutline(around, p) < near),
      ...SEEN,
    },
  ];
  // Cloth lies on the sheet that frames it, and what bears stitches all over is no card, however like one it may look.
  const isOver = ({ isUnder }: Cover): boolean =>
    lattice.places.filter(isUnder).length <= MOST_COVERED * lattice.places.length;
  return covers.filter(isOver);
}

/** Infinite where there is no outline. */
function distanceToOutline(outline: readonly Point[], p: Point): number {
  return outline.reduce((least, a, i) => {
    const b = outline[(i + 1) % outline.length]!;
    const [dx, dy] = [b.x - a.x, b.y - a.y];
    const along = ((p.x - a.x) * dx + (p.y - a.y) * dy) / Math.max(1e-9, dx * dx + dy * dy);
    return Math.min(least, distance(p, mix(a, b, Math.min(1, Math.max(0, along)))));
  }, Infinity);
}

/** An outline without the places over which something lies, looked for as far out as may be. */
function seenEdges(outline: readonly Point[], stitchPitchPx: number, covers: readonly Cover[]): Point[] {
  const middle = centroid(outline);
  return outline.filter((p) => {
    const outward = stitchPitchPx / Math.max(1e-6, distance(p, middle));
    return !covers.some(({ isUnder, nearYarn }) => {
      const far = nearYarn * outward;
      return isUnder({ x: p.x + far * (p.x - middle.x), y: p.y + far * (p.y - middle.y) });
    });
  });
}

/** The weighted mean of what is counted to the edges of what looks like cloth and to the outline. */
function alongYarn(cloth: EdgeLength | null, outline: EdgeLength | null): LengthByStrips | null {
  const scatter = (one: EdgeLength): number => one.spread / Math.sqrt(one.lines);
  if (cloth && outline) {
    const off = Math.abs(cloth.exact - outline.exact) / 2;
    return {
      exact: CLOTH_WEIGHT * cloth.exact + OUTLINE_WEIGHT * outline.exact,
      standardUncertainty: Math.hypot(BOTH_U, off, scatter(cloth), scatter(outline)),
    };
  }
  const only = cloth ?? outline;
  return only && { exact: only.exact, standardUncertainty: Math.hypot(ONE_U, scatter(only)) };
}

/** The mean of two measurements of one length. */
function agreed(a: LengthByStrips | null, b: LengthByStrips | null): LengthByStrips | null {
  if (!a || !b) return a ?? b;
  const { value, standardUncertainty } = birgeMean({ ...a, value: a.exact }, { ...b, value: b.exact });
  return { exact: value, standardUncertainty };
}

/**
 * Stitches and rows between the edges of an outline, counted along the lattice at many places from side to side and
 * not rounded. The outline is known to a pixel or two, where what looks like cloth is known on a coarse grid.
 *
 * @param outlinePx outline of the piece, in the picture that the lattice was fitted in
 * @param fabric row height ÷ stitch width, and the stitch as far as it is known
 * @returns null for an axis that was not followed clearly or far enough, or whose edges were seen at too few places
 */
export function outlineLengths(
  lattice: Pick<LatticeFit, 'stitchPhaseAt' | 'rowPhaseAt' | 'quality' | 'places'>,
  outlinePx: readonly Point[],
  { aspect, stitch }: { aspect: number; stitch: StitchKey | null },
): { stitches: EdgeLength | null; rows: EdgeLength | null } {
  const phases = outlinePx.map((p) => ({
    stitches: lattice.stitchPhaseAt(p.x, p.y),
    rows: lattice.rowPhaseAt(p.x, p.y),
  }));
  const read = lattice.places.map((p) => ({
    stitches: lattice.stitchPhaseAt(p.x, p.y),
    rows: lattice.rowPhaseAt(p.x, p.y),
  }));
  const count = (axis: keyof EdgeCounts, beyond: number): EdgeLength | null => {
    const { stitchAgreement, rowAgreement } = lattice.quality;
    if ((axis === 'stitches' ? stitchAgreement : rowAgreement) < CLEAR_AGREEMENT) return null;
    const other = axis === 'stitches' ? 'rows' : 'stitches';
    const along = phases.map((phase) => phase[other]).sort((a, b) => a - b);
    const low = along[Math.floor(0.03 * along.length)]!;
    const high = along[Math.floor(0.97 * along.length)]!;
    const places: number[][] = Array.from({ length: PLACES }, () => []);
    for (const phase of phases) {
      const share = ((phase[other] - low) / (high - low) - FROM) / (TO - FROM);
      if (share >= 0 && share < 1) places[Math.floor(share * PLACES)]!.push(phase[axis]);
    }
    const sides = places
      .filter((place) => place.length >= 2)
      .map((place) => ({ low: Math.min(...place), high: Math.max(...place) }));
    const lengthOf = ({ low, high }: { low: number; high: number }): number => high - low;
    const longest = Math.max(0, ...sides.map(lengthOf));
    // A place where one edge is missing is much shorter than the rest.
    const both = sides.map(lengthOf).filter((length) => length > longest / 2);
    const usual = both.length > 0 ? median(both) : NaN;
    const whole = sides.filter((side) => Math.abs(lengthOf(side) - usual) < Math.max(1, 0.15 * usual));
    if (whole.length < LEAST_PLACES) return null;
    const exact = median(whole.map(lengthOf)) - beyond;
    const spread = 1.4826 * median(whole.map((side) => Math.abs(lengthOf(side) - usual)));
    const ends = [
      median(whole.map(({ low }) => low)) + beyond / 2,
      median(whole.map(({ high }) => high)) - beyond / 2,
    ] as const;
    const [first, last] = [
      Math.min(...read.map((one) => one[axis])),
      Math.max(...read.map((one) => one[axis])),
    ];
    const room = CARRIED_ON + CARRIED_ON_SHARE * (last - first);
    if (exact < 0.5 || first - ends[0] > room || ends[1] - last > room) return null;
    return { exact, spread, lines: whole.length, ends };
  };
  return {
    stitches: count('stitches', stitch && LOW.has(stitch) ? BEYOND_LOW_STITCHES : BEYOND_STITCHES),
    rows: count('rows', (stitch && PURLED.has(stitch) ? BEYOND_PURLED_ROWS : BEYOND_ROWS) / aspect),
  };
}
