import { agreementOf, LEAST_STRENGTH, strengthOf } from './agreeOnLattice.ts';
import { alternativesOf } from './alternatives.ts';
import { checkCorrections } from './countCorrections.ts';
import type { EdgeCounts } from './countEdgeToEdge.ts';
import { decodeToMeasure } from './decode.ts';
import { findScale } from './findScale.ts';
import { meanPitches } from './gauge.ts';
import { judge, type Evidence, type Verdict } from './judge.ts';
import { measured } from './measured.ts';
import type { MeasuredScale, Measurement, MeasureOptions, Stage } from './measurement.ts';
import { trustedCentre } from './lattice/trustedCentre.ts';
import { localGauge } from './localGauge.ts';
import { openAhead } from './network.ts';
import { overlayLines } from './overlayLines.ts';
import { countWithOutline } from './piece/countWithOutline.ts';
import { pixelLattice } from './pixelLattice.ts';
import { isFollowed, readView } from './readView.ts';
import type { Rectified } from './rectify.ts';
import { knowWorkHeight } from './scale/knowWorkHeight.ts';
import { scaleUncertaintyAt } from './scale/scaleUncertaintyAt.ts';
import { coveredPlaces } from './sight/coveredPlaces.ts';
import { LEAST_CLOTH_SHARE, shareSeen } from './sight/shareSeen.ts';
import { sightWhole } from './sight/sightCards.ts';
import { sureTable } from './sight/sureTable.ts';
import type { Advice, DecodedPhoto, Matrix3, Point, Scale } from './types.ts';
import { otherTurnDeg, viewCloth, viewLevelCloth } from './viewCloth.ts';
import { withStrain } from './withStrain.ts';

const NO_REFERENCE: Advice = {
  code: 'no-reference',
  message:
    'Nothing of known size was found. Lay a card, a ruler or our printed sheet flat beside the swatch, wholly in view, and take the photo again; or mark two points and their distance by hand.',
};

const NO_FABRIC: Advice = {
  code: 'no-fabric',
  message:
    'No cloth with readable stitches was found. Fill more of the picture with the swatch, light it from the side, and hold the camera steady.',
};

const NO_LATTICE: Advice = {
  code: 'no-lattice',
  message:
    'Cloth was found, but its stitches do not repeat clearly enough to count. Light it from the side, go closer, smooth folds out, and choose a plain part of the fabric.',
};

export interface MeasureHooks {
  /** Called with each stage as it finishes. */
  onStage?: (stage: Stage) => void;
  /** Called with everything the verdict rests on, for studies of its limits. */
  onEvidence?: (evidence: Evidence) => void;
  /** Called once scale and cloth have been looked for, with what was found; without a reference only where the stitch is named. */
  onCloth?: (found: FoundCloth) => void;
  /** Counts whole stitches and rows instead, where more is known of the edges than the cloth says. */
  countEdges?: (evidence: Evidence, verdict: Verdict) => Promise<EdgeCounts>;
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
 * @param photoFile the photo file, or what `decodeToMeasure` makes of it
 * @returns the gauge with its uncertainty, what to draw over the photo, and advice; `status` is
 *   `refused` when no number can be trusted, with the reason and the remedy in `advice`; where only the scale is missing
 *   and the stitch was named, what is counted from edge to edge comes all the same
 * @throws VisionError when the file is not a photo that can be read
 *
 * @example
 * const measurement = await measurePhoto(await readFile('swatch.jpg'), { reference: 'card', stitch: 'hdc' });
 * measurement.gauge?.stitchesPer10cm.value; // e.g. 14.2
 */
export async function measurePhoto(
  photoFile: Uint8Array | Promise<DecodedPhoto>,
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

  const decoding = photoFile instanceof Uint8Array ? decodeToMeasure(photoFile) : photoFile;
  openAhead();
  const photo = await decoding;
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
  const ofScale: Advice[] = found ? [...found.advice, ...(assumedScale?.advice ?? [])] : [];
  const isUnscaled = !options.pixelsOnly && !assumedScale;
  const scaleAdvice = isUnscaled && ofScale.length === 0 ? [NO_REFERENCE] : ofScale;
  // Where the stitch is known, counting from edge to edge takes no millimetres.
  if (isUnscaled && !options.stitch) return finish({ ...nothing, advice: scaleAdvice });
  const noFabric = isUnscaled ? scaleAdvice : [...scaleAdvice, NO_FABRIC];

  const sight = found?.sight ?? (await sightWhole(photo.rgb));
  const unread = { ...nothing, scale: assumedScale && reportScale(assumedScale, photo) };
  // Of 53 photos of real cloth and 182 drawn ones each shows twice as much; loops of a carpet are none, however even.
  const saysWhere = options.regionPx || options.stitch || options.corrections?.length;
  if (!saysWhere && shareSeen(sight.maps, 'cloth') < LEAST_CLOTH_SHARE) {
    hooks.onCloth?.({ photo, scale: assumedScale, clothPx: null });
    return finish({ ...unread, advice: noFabric });
  }
  const looking = {
    regionPx: options.regionPx?.map(toDecodedPx),
    stitch: options.stitch,
    plannedGauge: options.plannedGauge,
    isTable: sureTable(sight),
  };
  let view = await viewLevelCloth(photo, assumedScale, { ...looking, onFlat: () => done('rectify') });
  done('fabric');
  const corrected = (options.corrections ?? []).length > 0;
  let reading = view.fabric && (await readView(view, view.fabric, options, toDecodedPx));
  if (!corrected && reading && !isFollowed(reading)) {
    const other = await viewCloth(photo, assumedScale, otherTurnDeg(view), looking);
    const again = other.fabric && (await readView(other, other.fabric, options, toDecodedPx));
    if (again && agreementOf(again.lattice) > agreementOf(reading.lattice)) [view, reading] = [other, again];
  }
  const { seen, fabric } = view;
  hooks.onCloth?.({
    photo,
    scale: assumedScale,
    clothPx: fabric && fabric.outlinePx.map((p) => seen.toDecoded(p)),
  });
  if (!fabric || !reading) {
    return finish({ ...unread, advice: noFabric });
  }

  const toPhoto = (p: Point) => toOriginal(seen.toDecoded(p));
  const { lattice, consensus, octaves, countFactor } = reading;
  done('lattice');
  const clothOutline = lattice?.outlinePx ?? fabric.outlinePx;
  const outline = clothOutline.map(toPhoto);
  if (!lattice) {
    const advice = isUnscaled ? scaleAdvice : [...scaleAdvice, NO_LATTICE];
    return finish({ ...unread, looksLike: fabric.looksLike, advice });
  }

  const byWaves = meanPitches(lattice);
  const mean = octaves ? withStrain(byWaves, lattice.quality.repeats, octaves.strain) : byWaves;
  const { scale, flat } = atClothHeight(
    assumedScale,
    seen,
    mean.stitch.pitchPx,
    clothOutline,
    strengthOf(lattice) < LEAST_STRENGTH,
  );
  const centre = trustedCentre(lattice);
  const axis = (pitch: { pitchPx: number; relativeUncertainty: number }) => {
    if (!flat.pxPerMm || !scale) return null;
    const per10cm = (100 * flat.pxPerMm) / pitch.pitchPx;
    return measured(
      per10cm,
      per10cm * Math.hypot(pitch.relativeUncertainty, scaleUncertaintyAt(scale, flat.toDecoded(centre))),
    );
  };
  const stitchesPer10cm = axis(mean.stitch);
  const rowsPer10cm = axis(mean.row);
  const evidence: Evidence = {
    lattice,
    fabric,
    scale,
    options,
    countFactor,
    consensus,
    octaves,
    mean,
    photo,
    flat,
    isCovered: coveredPlaces(sight),
  };
  hooks.onEvidence?.(evidence);
  const verdict = judge(evidence);
  const alternatives = alternativesOf(lattice.rivals, octaves, mean, flat, photo);
  done('gauge');

  const lines = overlayLines(lattice);
  const overlay = {
    fabricOutlinePx: outline,
    rowLinesPx: lines.rowLines.map((line) => line.map(toPhoto)),
    stitchLinesPx: lines.stitchLines.map((line) => line.map(toPhoto)),
  };
  const refused = verdict.status === 'refused';
  const countEdges = hooks.countEdges ?? ((of, said) => countWithOutline(of, said, null));
  const counted = refused ? { stitches: null, rows: null } : await countEdges(evidence, verdict);
  done('overlay');
  if (isUnscaled) {
    const shown = (counted.stitches ?? counted.rows) ? { counted, overlay } : {};
    return finish({ ...unread, ...shown, looksLike: lattice.looksLike, advice: scaleAdvice });
  }
  return finish({
    status: verdict.status,
    photo: nothing.photo,
    scale: scale && reportScale(scale, photo),
    gauge: !refused && stitchesPer10cm && rowsPer10cm ? { stitchesPer10cm, rowsPer10cm } : null,
    lattice: refused ? null : pixelLattice(lattice, mean, centre, toPhoto),
    counted,
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
  isFaint: boolean,
): { scale: Scale | null; flat: Rectified } {
  if (!scale || !flat.pxPerMm) return { scale, flat };
  const known = knowWorkHeight(scale, stitchPitchPx / flat.pxPerMm, outline.map(flat.toDecoded), isFaint);
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
