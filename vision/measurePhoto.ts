import { countEdgeToEdge } from './countEdgeToEdge.ts';
import { decodePhoto } from './decode.ts';
import { VisionError } from './errors.ts';
import { findFabric } from './findFabric.ts';
import { findScale } from './findScale.ts';
import { fitLattice, withFactors, type LatticeFit } from './fitLattice.ts';
import { measured, meanPitches } from './gauge.ts';
import { judge, type Evidence } from './judge.ts';
import type {
  Alternative,
  CountCorrection,
  LocalGauge,
  MeasuredScale,
  Measurement,
  MeasureOptions,
  PixelLattice,
  Stage,
} from './measurement.ts';
import { compareLooks, type Consensus } from './lattice/compareLooks.ts';
import { lookAgain, type Sighting } from './lattice/lookAgain.ts';
import { overlayLines } from './overlayLines.ts';
import { rectify, type Rectified } from './rectify.ts';
import { centroid } from './scale/geometry.ts';
import { knowWorkHeight } from './scale/knowWorkHeight.ts';
import { countingsFor } from './stitchAspects.ts';
import type { Advice, DecodedPhoto, Matrix3, Point, Scale } from './types.ts';

/** Pictures are decoded to at most this many pixels on the longer side; finer cloth needs a closer photo. */
const WORKING_SIDE_PX = 3000;

export interface MeasureHooks {
  /** Called with each stage as it finishes. */
  onStage?: (stage: Stage) => void;
  /** Called with everything the verdict rests on, for studies of its limits. */
  onEvidence?: (evidence: Evidence) => void;
  /** Called once scale and cloth have been looked for, with what was found; not without a reference. */
  onCloth?: (found: FoundCloth) => void;
  signal?: AbortSignal;
}

/** What a photo shows before its stitches are counted. */
export interface FoundCloth {
  photo: DecodedPhoto;
  scale: Scale | null;
  /** Outline of readable cloth, decoded px. */
  clothPx: Point[] | null;
}

/**
 * Measures one photo: decode → scale → rectify → fabric → lattice → gauge → overlay.
 *
 * @param bytes the photo file
 * @returns the gauge with its uncertainty, what to draw over the photo, and advice; `status` is
 *   `refused` when no number can be trusted, with the reason and the remedy in `advice`
 * @throws VisionError when the file is not a photo that can be read
 *
 * @example
 * const measurement = await measurePhoto(await readFile('swatch.jpg'), { reference: 'card', stitch: 'hdc' });
 * measurement.gauge?.stitchesPer10cm.value; // e.g. 14.2
 */
export async function measurePhoto(
  bytes: Uint8Array,
  options: MeasureOptions = {},
  hooks: MeasureHooks = {},
): Promise<Measurement> {
  const started = performance.now();
  const timingsMs: Measurement['timingsMs'] = {};
  let last = started;
  const done = (stage: Stage) => {
    const now = performance.now();
    timingsMs[stage] = Math.round(10 * (now - last)) / 10;
    last = now;
    hooks.onStage?.(stage);
    hooks.signal?.throwIfAborted();
  };
  const finish = (measurement: Omit<Measurement, 'timingsMs'>): Measurement => {
    timingsMs.total = Math.round(10 * (performance.now() - started)) / 10;
    return { ...measurement, timingsMs };
  };

  const photo = await decodePhoto(bytes, { maxSidePx: WORKING_SIDE_PX });
  done('decode');
  const toOriginal = (p: Point): Point => ({ x: p.x / photo.decodeScale, y: p.y / photo.decodeScale });
  const toDecodedPx = (p: Point): Point => ({ x: p.x * photo.decodeScale, y: p.y * photo.decodeScale });
  const nothing: Omit<Measurement, 'timingsMs'> = {
    status: 'refused',
    photo: { widthPx: photo.originalWidthPx, heightPx: photo.originalHeightPx },
    scale: null,
    gauge: null,
    lattice: null,
    counted: { stitches: null, rows: null },
    looksLike: [],
    alternatives: [],
    localGauge: [],
    overlay: null,
    advice: [],
  };

  checkCorrections(options.corrections ?? [], photo);
  const found = options.pixelsOnly ? null : await findScale(photo, scaleOptions(options, toDecodedPx));
  const assumedScale = found?.scale ?? null;
  done('scale');
  const scaleAdvice: Advice[] = found ? [...found.advice, ...(assumedScale?.advice ?? [])] : [];
  if (!options.pixelsOnly && !assumedScale) {
    const advice = scaleAdvice.length
      ? scaleAdvice
      : [
          {
            code: 'no-reference',
            message:
              'Nothing of known size was found. Lay a card, a ruler or our printed sheet flat beside the swatch, wholly in view, and take the photo again; or mark two points and their distance by hand.',
          },
        ];
    return finish({ ...nothing, advice });
  }

  const seen = rectify(photo, assumedScale, { regionPx: options.regionPx?.map(toDecodedPx) });
  done('rectify');
  const fabric = await findFabric(seen.gray, { allowed: seen.allowed, stitch: options.stitch });
  done('fabric');
  hooks.onCloth?.({
    photo,
    scale: assumedScale,
    clothPx: fabric && fabric.outlinePx.map((p) => seen.toDecoded(p)),
  });
  const unread = { ...nothing, scale: assumedScale && reportScale(assumedScale, photo) };
  if (!fabric) {
    return finish({
      ...unread,
      advice: [
        ...scaleAdvice,
        {
          code: 'no-fabric',
          message:
            'No cloth with readable stitches was found. Fill more of the picture with the swatch, light it from the side, and hold the camera steady.',
        },
      ],
    });
  }

  const toFlat = (p: Point) => seen.toRectified(toDecodedPx(p));
  const toPhoto = (p: Point) => toOriginal(seen.toDecoded(p));
  const corrections = (options.corrections ?? []).map((c) => ({ ...c, pointsPx: c.pointsPx.map(toFlat) }));
  const fit = (expected?: ReturnType<typeof expectedFrom>) =>
    fitLattice(seen.gray, fabric, { allowed: seen.allowed, stitch: options.stitch, expected });
  let lattice = await fit(expectedFrom(corrections));
  // Where the maker's pitch leads to no clear wave, the clear one is followed and counted as she counts.
  if (corrections.length > 0 && agreementOf(lattice) < CLEAR_AGREEMENT) {
    const unled = await fit();
    if (agreementOf(unled) > agreementOf(lattice)) lattice = unled;
  }
  let consensus: Consensus | null = null;
  if (lattice && corrections.length === 0) {
    const sightings = await lookAgain(seen.gray, fabric, { allowed: seen.allowed, stitch: options.stitch });
    consensus = compareLooks(sightingOf(lattice), sightings);
    const [other] = consensus.dissent;
    // Where the first look stands alone, what the others agree on is followed instead.
    if (other && other.votes >= 2 && other.votes > consensus.support + 1) {
      const first = sightingOf(lattice);
      const led = await fit({
        stitchPitchPx: first.stitchPitchPx * other.stitchFactor,
        rowPitchPx: first.rowPitchPx * other.rowFactor,
      });
      if (led && agreementOf(led) > 0.7 * agreementOf(lattice)) {
        lattice = led;
        consensus = compareLooks(sightingOf(led), sightings);
      }
    }
    lattice = { ...lattice, rivals: [...lattice.rivals, ...rivalsOf(consensus)] };
  }
  done('lattice');
  const clothOutline = lattice?.outlinePx ?? fabric.outlinePx;
  const outline = clothOutline.map(toPhoto);
  if (!lattice) {
    return finish({
      ...unread,
      looksLike: fabric.looksLike,
      advice: [
        ...scaleAdvice,
        {
          code: 'no-lattice',
          message:
            'Cloth was found, but its stitches do not repeat clearly enough to count. Light it from the side, go closer, smooth folds out, and choose a plain part of the fabric.',
        },
      ],
    });
  }

  let countings: ReturnType<typeof countingsFor> = [{ stitch: 1, row: 1, weight: 1 }];
  const countFactor = factorToCount(lattice, corrections);
  if (corrections.length > 0) lattice = withFactors(lattice, countFactor);
  else {
    const mean = meanPitches(lattice);
    const fabrics = options.stitch ? [{ stitch: options.stitch, weight: 1 }] : lattice.looksLike;
    countings = countingsFor(fabrics, mean.row.pitchPx / mean.stitch.pitchPx);
    lattice = withFactors(lattice, countings[0]);
  }
  const mean = meanPitches(lattice);
  const { scale, flat } = atClothHeight(assumedScale, seen, mean.stitch.pitchPx, clothOutline);
  const centre = trustedCentre(lattice);
  const axis = (pitch: { pitchPx: number; relativeUncertainty: number }) => {
    if (!flat.pxPerMm || !scale) return null;
    return measured(
      (100 * flat.pxPerMm) / pitch.pitchPx,
      Math.hypot(pitch.relativeUncertainty, scaleUncertaintyAt(scale, flat.toDecoded(centre))),
    );
  };
  const stitchesPer10cm = axis(mean.stitch);
  const rowsPer10cm = axis(mean.row);
  const evidence: Evidence = {
    lattice,
    fabric,
    scale,
    options,
    countings,
    countFactor,
    consensus,
    mean,
    photo,
    flat,
  };
  hooks.onEvidence?.(evidence);
  const verdict = judge(evidence);
  const alternatives = alternativesOf(lattice, countings, mean, flat, photo);
  done('gauge');

  const lines = overlayLines(lattice);
  const isOpen = (x: number, y: number) => {
    const i = Math.round(x);
    const j = Math.round(y);
    const { allowed } = flat;
    return (
      i > 2 &&
      j > 2 &&
      i < allowed.widthPx - 3 &&
      j < allowed.heightPx - 3 &&
      allowed.data[j * allowed.widthPx + i] > 0 &&
      x > lattice!.bounds.left + 2 &&
      y > lattice!.bounds.top + 2 &&
      x < lattice!.bounds.left + lattice!.bounds.width - 2 &&
      y < lattice!.bounds.top + lattice!.bounds.height - 2
    );
  };
  const counted = countEdgeToEdge(lattice, isOpen);
  const overlay = {
    fabricOutlinePx: outline,
    rowLinesPx: lines.rowLines.map((line) => line.map(toPhoto)),
    stitchLinesPx: lines.stitchLines.map((line) => line.map(toPhoto)),
  };
  done('overlay');
  const refused = verdict.status === 'refused';
  return finish({
    status: verdict.status,
    photo: nothing.photo,
    scale: scale && reportScale(scale, photo),
    gauge: !refused && stitchesPer10cm && rowsPer10cm ? { stitchesPer10cm, rowsPer10cm } : null,
    lattice: refused ? null : pixelLattice(lattice, mean, centre, toPhoto),
    counted: refused ? { stitches: null, rows: null } : counted,
    looksLike: lattice.looksLike,
    alternatives: refused ? [] : alternatives,
    localGauge: refused ? [] : localGauge(lattice, flat, toPhoto),
    overlay: refused ? null : overlay,
    advice: [...scaleAdvice, ...verdict.advice],
  });
}

function scaleOptions(options: MeasureOptions, toDecodedPx: (p: Point) => Point) {
  const { manual } = options;
  return {
    reference: options.reference ?? 'auto',
    ...(options.checkLineMm === undefined ? {} : { checkLineMm: options.checkLineMm }),
    ...(options.paperSize === undefined ? {} : { paperSize: options.paperSize }),
    ...(manual?.type === 'two-points'
      ? { manual: { ...manual, pointsPx: manual.pointsPx.map(toDecodedPx) as [Point, Point] } }
      : manual
        ? {
            manual: {
              ...manual,
              cornersPx: manual.cornersPx.map(toDecodedPx) as [Point, Point, Point, Point],
            },
          }
        : {}),
  } as const;
}

/** The scale as it is reported: in pixels of the original photo. */
function reportScale(scale: Scale, photo: DecodedPhoto): MeasuredScale {
  return {
    kind: scale.kind,
    variety: scale.variety,
    mmPerPx: scale.mmPerPx * photo.decodeScale,
    tiltDeg: scale.tiltDeg,
    relativeUncertainty: scale.relativeUncertainty,
    confidence: scale.confidence,
    outlinePx: scale.outlinePx.map((p) => ({ x: p.x / photo.decodeScale, y: p.y / photo.decodeScale })),
    homographyPxToMm: originalHomography(scale, photo),
  };
}

function originalHomography(scale: Scale, photo: DecodedPhoto): Matrix3 {
  const f = photo.decodeScale;
  const h = scale.homographyPxToMm;
  return [h[0] * f, h[1] * f, h[2], h[3] * f, h[4] * f, h[5], h[6] * f, h[7] * f, h[8]];
}

/** The scale and the flat picture's resolution, now that the stitches tell how thick the cloth is. */
function atClothHeight(
  scale: Scale | null,
  flat: Rectified,
  stitchPitchPx: number,
  outline: Point[],
): { scale: Scale | null; flat: Rectified } {
  if (!scale || !flat.pxPerMm) return { scale, flat };
  const known = knowWorkHeight(scale, stitchPitchPx / flat.pxPerMm, outline.map(flat.toDecoded));
  const h = scale.homographyPxToMm;
  const k = known.factor;
  return {
    scale: {
      ...scale,
      mmPerPx: scale.mmPerPx * k,
      relativeUncertainty: known.relativeUncertainty,
      homographyPxToMm: [h[0] * k, h[1] * k, h[2] * k, h[3] * k, h[4] * k, h[5] * k, h[6], h[7], h[8]],
    },
    flat: { ...flat, pxPerMm: flat.pxPerMm / k },
  };
}

/** Scale uncertainty at a decoded pixel: grows with the distance from the reference. */
function scaleUncertaintyAt(scale: Scale, at: Point): number {
  const middle = centroid(scale.outlinePx);
  const size = Math.max(...scale.outlinePx.map((p) => 2 * Math.hypot(p.x - middle.x, p.y - middle.y)));
  const distance = Math.hypot(at.x - middle.x, at.y - middle.y) / Math.max(1, size);
  return Math.hypot(scale.relativeUncertainty, scale.relativeUncertaintyPerReferenceLength * distance);
}

type FlatCorrection = Omit<CountCorrection, 'pointsPx'> & { pointsPx: Point[] };

function checkCorrections(corrections: CountCorrection[], photo: DecodedPhoto) {
  for (const { count, pointsPx } of corrections) {
    if (!(count > 0) || !Number.isFinite(count)) {
      throw new VisionError('bad-option', 'The count between two marks must be above zero.', 'Count again.');
    }
    const inside = (p: Point) =>
      p.x >= 0 && p.y >= 0 && p.x <= photo.originalWidthPx && p.y <= photo.originalHeightPx;
    if (!pointsPx.every(inside)) {
      throw new VisionError('bad-option', 'A mark lies outside the photo.', 'Set both marks on the cloth.');
    }
    // Less than a pixel for each stitch cannot have been counted.
    if (Math.hypot(pointsPx[0].x - pointsPx[1].x, pointsPx[0].y - pointsPx[1].y) < Math.max(10, count)) {
      throw new VisionError(
        'bad-option',
        'The two marks are too close together for this count.',
        'Mark the first and the last of the stitches or rows that you counted.',
      );
    }
  }
}

function expectedFrom(corrections: FlatCorrection[]) {
  const expected: { stitchPitchPx?: number; rowPitchPx?: number } = {};
  for (const { axis, count, pointsPx } of corrections) {
    const pitch = Math.hypot(pointsPx[0].x - pointsPx[1].x, pointsPx[0].y - pointsPx[1].y) / count;
    if (axis === 'stitches') expected.stitchPitchPx = pitch;
    else expected.rowPitchPx = pitch;
  }
  return expected;
}

/** Below this a lattice is followed only in part; see `judge`. */
const CLEAR_AGREEMENT = 0.6;

function agreementOf(lattice: LatticeFit | null): number {
  return lattice ? Math.min(lattice.quality.stitchAgreement, lattice.quality.rowAgreement) : 0;
}

/** What makes the lattice count as the maker counted, when following her pitch did not already do so. */
function factorToCount(lattice: LatticeFit, corrections: FlatCorrection[]): { stitch: number; row: number } {
  let factor = { stitch: 1, row: 1 };
  for (const { axis, count, pointsPx } of corrections) {
    const phase = axis === 'stitches' ? lattice.stitchPhaseAt : lattice.rowPhaseAt;
    const seen = Math.abs(phase(pointsPx[1].x, pointsPx[1].y) - phase(pointsPx[0].x, pointsPx[0].y));
    // Marks are set to about half a stitch; within that the lattice knows better.
    if (seen < 0.5 || Math.abs(seen - count) < 0.75) continue;
    factor = axis === 'stitches' ? { ...factor, stitch: count / seen } : { ...factor, row: count / seen };
  }
  return factor;
}

/** The fitted lattice as one look at the cloth among others. */
function sightingOf(lattice: LatticeFit): Sighting {
  const mean = meanPitches(lattice);
  const centre = trustedCentre(lattice);
  const cell = lattice.cellAt(centre.x, centre.y);
  return {
    stitchPitchPx: mean.stitch.pitchPx,
    rowPitchPx: mean.row.pitchPx,
    rowDirectionDeg: cell.stitchAngleDeg,
  };
}

/** What other looks agree on, as other ways to count; a single stray look is none. */
function rivalsOf({ support, dissent }: Consensus): LatticeFit['rivals'] {
  return dissent
    .filter((one) => one.votes >= 2)
    .map(({ stitchFactor, rowFactor, votes }) => ({
      stitchFactor,
      rowFactor,
      weight: votes / (support + votes + 1),
    }));
}

function trustedCentre(lattice: LatticeFit): Point {
  const total = lattice.places.reduce((s, p) => s + p.trust, 0);
  return {
    x: lattice.places.reduce((s, p) => s + p.x * p.trust, 0) / total,
    y: lattice.places.reduce((s, p) => s + p.y * p.trust, 0) / total,
  };
}

/** The lattice at the cloth's centre as it lies in the photo, perspective included. */
function pixelLattice(
  lattice: LatticeFit,
  mean: ReturnType<typeof meanPitches>,
  centre: Point,
  toPhoto: (p: Point) => Point,
): PixelLattice {
  const cell = lattice.cellAt(centre.x, centre.y);
  const step = (angleDeg: number, length: number) => {
    const a = (angleDeg * Math.PI) / 180;
    const from = toPhoto({
      x: centre.x - (Math.cos(a) * length) / 2,
      y: centre.y - (Math.sin(a) * length) / 2,
    });
    const to = toPhoto({
      x: centre.x + (Math.cos(a) * length) / 2,
      y: centre.y + (Math.sin(a) * length) / 2,
    });
    return { x: to.x - from.x, y: to.y - from.y };
  };
  const lean = ((cell.rowAngleDeg - cell.stitchAngleDeg) * Math.PI) / 180;
  const stitch = step(cell.stitchAngleDeg, mean.stitch.pitchPx);
  const row = step(cell.rowAngleDeg, mean.row.pitchPx / Math.max(0.3, Math.abs(Math.sin(lean))));
  const stitchPitchPx = Math.hypot(stitch.x, stitch.y);
  const rowPitchPx = Math.abs(stitch.x * row.y - stitch.y * row.x) / stitchPitchPx;
  const degrees = (v: Point) => (Math.atan2(v.y, v.x) * 180) / Math.PI;
  return {
    stitchPitchPx,
    rowPitchPx,
    stitchAngleDeg: degrees(stitch),
    rowAngleDeg: degrees(row),
    standardUncertaintyPx: {
      stitchPitch: stitchPitchPx * mean.stitch.relativeUncertainty,
      rowPitch: rowPitchPx * mean.row.relativeUncertainty,
    },
  };
}

function alternativesOf(
  lattice: LatticeFit,
  countings: { stitch: number; row: number; weight: number }[],
  mean: ReturnType<typeof meanPitches>,
  flat: Rectified,
  photo: DecodedPhoto,
): Alternative[] {
  const best = countings[0];
  const options = [
    { stitchFactor: 1, rowFactor: 1, weight: 1 },
    ...countings.slice(1).map((c) => ({
      stitchFactor: best.stitch / c.stitch,
      rowFactor: best.row / c.row,
      weight: c.weight / best.weight,
    })),
    ...lattice.rivals,
  ];
  const kept: typeof options = [];
  for (const one of options) {
    const twin = kept.find(
      (k) =>
        Math.abs(Math.log(k.stitchFactor / one.stitchFactor)) < 0.1 &&
        Math.abs(Math.log(k.rowFactor / one.rowFactor)) < 0.1,
    );
    if (twin) twin.weight = Math.max(twin.weight, one.weight);
    else if (one.weight > 0.01) kept.push({ ...one });
  }
  const total = kept.reduce((s, one) => s + one.weight, 0);
  return kept
    .map(({ stitchFactor, rowFactor, weight }) => {
      const stitchPitch = mean.stitch.pitchPx * stitchFactor;
      const rowPitch = mean.row.pitchPx * rowFactor;
      const per10cm = (pitch: number) => (flat.pxPerMm ? (100 * flat.pxPerMm) / pitch : null);
      return {
        stitchesPer10cm: per10cm(stitchPitch),
        rowsPer10cm: per10cm(rowPitch),
        stitchPitchPx: stitchPitch / photo.decodeScale,
        rowPitchPx: rowPitch / photo.decodeScale,
        weight: weight / total,
      };
    })
    .sort((a, b) => b.weight - a.weight)
    .slice(0, 5);
}

/** Gauge by parts of the cloth: a 5 × 5 grid over the counted stitches and rows. */
function localGauge(lattice: LatticeFit, flat: Rectified, toPhoto: (p: Point) => Point): LocalGauge[] {
  const places = lattice.places.map((p) => ({
    ...p,
    s: lattice.stitchPhaseAt(p.x, p.y),
    r: lattice.rowPhaseAt(p.x, p.y),
  }));
  const low = { s: Math.min(...places.map((p) => p.s)), r: Math.min(...places.map((p) => p.r)) };
  const span = {
    s: Math.max(...places.map((p) => p.s)) - low.s || 1,
    r: Math.max(...places.map((p) => p.r)) - low.r || 1,
  };
  const bins = new Map<number, typeof places>();
  for (const place of places) {
    const i = Math.min(4, Math.floor((5 * (place.s - low.s)) / span.s));
    const j = Math.min(4, Math.floor((5 * (place.r - low.r)) / span.r));
    bins.set(5 * j + i, [...(bins.get(5 * j + i) ?? []), place]);
  }
  return [...bins.values()].map((bin) => {
    const trust = bin.reduce((s, p) => s + p.trust, 0);
    const average = (value: (p: (typeof places)[number]) => number) =>
      bin.reduce((s, p) => s + p.trust * value(p), 0) / trust;
    const centre = { x: average((p) => p.x), y: average((p) => p.y) };
    const cell = lattice.cellAt(centre.x, centre.y);
    return {
      centrePx: toPhoto(centre),
      stitchesPer10cm: flat.pxPerMm && (100 * flat.pxPerMm) / cell.stitchPitchPx,
      rowsPer10cm: flat.pxPerMm && (100 * flat.pxPerMm) / cell.rowPitchPx,
      stitchPitchPx: cell.stitchPitchPx,
      rowPitchPx: cell.rowPitchPx,
      alongRows: (average((p) => p.r) - low.r) / span.r,
      acrossStitches: (average((p) => p.s) - low.s) / span.s,
      trust: trust / bin.length,
    };
  });
}
