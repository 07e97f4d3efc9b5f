/**
 * How well whole pieces are measured from photos whose truth is known: `npm run bench -- piece`.
 *
 * Three parts: the outline of whole pieces with a sheet or a tape in view, rows counted in close photos, and the
 * drift over pieces photographed in parts, of which two at least must be read. As in a check, photos are read with the stitch and
 * the gauge that the piece was planned with, here up to a tenth and more from the truth (`--unplanned`: without either, rows and
 * drift with the stitch). Options: --seed-start S (970000, held back; below 100000 and
 * above 1000000 are for development), --outlines N (40), --rows N (100), --drifts N (16), --reference sheet[,tape], --json FILE.
 */
import { writeFileSync } from 'node:fs';
import { parseArgs } from 'node:util';
import { combineParts, drift, photoRelativeU, type PartReading } from '../../calc/index.ts';
import { closePhotoSpec } from '../../fixtures/piece/closePhotoSpec.ts';
import { partOfPiece, pieceOfParts, type PieceOfParts } from '../../fixtures/piece/partOfPiece.ts';
import { wholePieceSpec } from '../../fixtures/piece/wholePieceSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import { pxToMm } from '../../fixtures/scene/truth.ts';
import { Rng } from '../../fixtures/scene/rng.ts';
import type { ReferenceSpec, SceneTruth } from '../../fixtures/types.ts';
import { measurePhoto } from '../../vision/measurePhoto.ts';
import type { Measurement } from '../../vision/measurement.ts';
import { spacedEvenly } from '../../vision/piece/followEdge.ts';
import { measurePiece } from '../../vision/piece/measurePiece.ts';
import type { PlannedGauge } from '../../vision/plannedGauge.ts';
import { outlineSizes, type OutlineSizes } from '../../vision/piece/outlineSizes.ts';
import type { Measured, Point } from '../../vision/types.ts';
import { percent, printTable, quantile } from './statistics.ts';

export async function run(args: string[]): Promise<void> {
  const { values } = parseArgs({
    args,
    options: {
      'seed-start': { type: 'string', default: '970000' },
      outlines: { type: 'string', default: '40' },
      rows: { type: 'string', default: '100' },
      drifts: { type: 'string', default: '16' },
      reference: { type: 'string', default: 'sheet,tape' },
      unplanned: { type: 'boolean', default: false },
      json: { type: 'string' },
    },
  });
  const start = Number(values['seed-start']);
  const isPlanned = !values.unplanned;
  const references = values.reference.split(',') as ReferenceSpec['kind'][];
  const outlines: Outline[] = [];
  const counts: Rows[] = [];
  const drifts: Drifting[] = [];
  // Whoever stops a long run keeps what was measured.
  const keep = (): void => {
    if (values.json) writeFileSync(values.json, JSON.stringify({ outlines, counts, drifts }, null, 1));
  };
  for (let i = 0; i < Number(values.outlines); i++) {
    outlines.push(await outline(start + i, references[i % references.length]!, isPlanned));
    keep();
  }
  reportOutlines(outlines);
  for (let i = 0; i < Number(values.rows); i++) {
    counts.push(await rows(start + i, isPlanned));
    keep();
  }
  reportRows(counts);
  for (let i = 0; i < Number(values.drifts); i++) {
    drifts.push(await drifting(start + i, start + PARTS.length * ATTEMPTS * i, i % 2 === 1, isPlanned));
    keep();
  }
  reportDrifts(drifts);
}

/** Natural logarithm of how far stitches and rows of a piece are from its plan's, each: standard deviation. */
const OFF_PLAN_LOG_SD = 0.05;

/** What the piece was planned with, drawn by the seed. */
function plannedFor(fabric: PlannedGauge, seed: number): PlannedGauge {
  const rng = new Rng(seed, 'planned');
  const off = () => Math.exp(rng.gauss(0, OFF_PLAN_LOG_SD));
  return { stitchesPer10cm: fabric.stitchesPer10cm * off(), rowsPer10cm: fabric.rowsPer10cm * off() };
}

// ---------------------------------------------------------------- outline

interface Outline {
  seed: number;
  reference: string;
  scaleFound: boolean;
  status: string;
  codes: string[];
  /** Relative errors of each width and height, of their means, and of the area. */
  errors: number[];
  means: number[];
  area: number;
  angles: number[];
  /** Error ÷ standard uncertainty of the two means. */
  ratios: number[];
}

async function outline(seed: number, kind: ReferenceSpec['kind'], isPlanned: boolean): Promise<Outline> {
  const { jpeg, truth } = await renderScene(wholePieceSpec(seed, { references: [kind] }));
  const fabric = truth.fabric!;
  const told = isPlanned ? { stitch: fabric.stitch, plannedGauge: plannedFor(fabric, seed) } : {};
  const measurement = await measurePiece(jpeg, told);
  const { piece } = measurement;
  const none = { errors: [], means: [], area: NaN, angles: [], ratios: [] };
  const about = {
    seed,
    reference: kind,
    scaleFound: measurement.scale !== null,
    status: piece?.status ?? 'refused',
    codes: (piece ?? measurement).advice.map(({ code }) => code),
  };
  if (!piece?.widthMm || !piece.heightMm) return { ...about, ...none };
  const is = sizesOf(truth);
  const mean = (list: OutlineSizes['widths']) => list.reduce((sum, one) => sum + one.length, 0) / list.length;
  const error = (found: Measured, true_: number) => found.value / true_ - 1;
  return {
    ...about,
    errors: [
      ...piece.widths.map(({ lengthMm }, i) => error(lengthMm, is.widths[i]?.length ?? NaN)),
      ...piece.heights.map(({ lengthMm }, i) => error(lengthMm, is.heights[i]?.length ?? NaN)),
    ],
    means: [error(piece.widthMm, mean(is.widths)), error(piece.heightMm, mean(is.heights))],
    area: error(piece.areaMm2!, is.area),
    angles: piece.angles.map(({ angleDeg }, i) => angleDeg.value - is.anglesDeg[i]!),
    ratios: [
      (piece.widthMm.value - mean(is.widths)) / piece.widthMm.standardUncertainty,
      (piece.heightMm.value - mean(is.heights)) / piece.heightMm.standardUncertainty,
    ],
  };
}

/** True sizes: the same chords through the true outline, in the plane of the work, right as the picture has it. */
function sizesOf(truth: SceneTruth): OutlineSizes {
  const centre = { x: truth.widthPx / 2, y: truth.heightPx / 2 };
  const a = pxToMm(truth, centre);
  const b = pxToMm(truth, { x: centre.x + 1, y: centre.y });
  const length = Math.hypot(b.x - a.x, b.y - a.y);
  const c = (b.x - a.x) / length;
  const s = (b.y - a.y) / length;
  const line = truth.fabric!.edgePx!.map((px): Point => {
    const p = pxToMm(truth, px);
    return { x: c * p.x + s * p.y, y: -s * p.x + c * p.y };
  });
  return outlineSizes(spacedEvenly(line, 5));
}

function reportOutlines(results: Outline[]): void {
  if (results.length === 0) return;
  console.log('\nOutline of whole pieces (30–150 cm)');
  const groups = new Map([['all', results]]);
  for (const r of results) groups.set(r.reference, [...(groups.get(r.reference) ?? []), r]);
  printTable(
    [
      'reference',
      'photos',
      'scale found',
      'ok',
      'unsure',
      'median error, mean sizes',
      '95th pct',
      'median error, single chords',
      '95th pct',
      'median area error',
      'median angle error',
      '95 % covers',
      'unsure: beyond 2 %',
    ],
    [...groups].map(([name, group]) => {
      const ok = group.filter((r) => r.status === 'ok');
      const unsure = group.filter((r) => r.status === 'unsure');
      const at = (values: number[], q: number) => percent(quantile(values.map(Math.abs), q), 2);
      const means = ok.flatMap((r) => r.means);
      const errors = ok.flatMap((r) => r.errors);
      const ratios = ok.flatMap((r) => r.ratios);
      return [
        name,
        String(group.length),
        percent(group.filter((r) => r.scaleFound).length / group.length, 0),
        percent(ok.length / group.length, 0),
        percent(unsure.length / group.length, 0),
        at(means, 0.5),
        at(means, 0.95),
        at(errors, 0.5),
        at(errors, 0.95),
        at(
          ok.map((r) => r.area),
          0.5,
        ),
        `${quantile(ok.flatMap((r) => r.angles.map(Math.abs)), 0.5).toFixed(1)}°`, // prettier-ignore
        percent(ratios.filter((r) => Math.abs(r) <= 1.96).length / ratios.length, 0),
        String(unsure.filter((r) => r.means.some((e) => Math.abs(e) > 0.02)).length),
      ];
    }),
  );
}

// ---------------------------------------------------------------- rows

interface Rows {
  seed: number;
  stitch: string;
  countable: boolean;
  status: string;
  rows: number;
  counted: number | null;
  /** The number next to it, where either may be right. */
  orElse: number | null;
  codes: string[];
  /** Relative errors of stitches and rows per 10 cm, and ÷ their standard uncertainty. */
  gaugeErrors: [number, number] | null;
  gaugeRatios: [number, number] | null;
}

async function rows(seed: number, isPlanned: boolean): Promise<Rows> {
  const { jpeg, truth } = await renderScene(closePhotoSpec(seed));
  const fabric = truth.fabric!;
  // As a check measures it: an outline tells the edges more finely.
  const plannedGauge = isPlanned ? plannedFor(fabric, seed) : undefined;
  const measurement = await measurePiece(jpeg, { stitch: fabric.stitch, plannedGauge });
  const { gauge } = measurement;
  const { rows: counted } = measurement.counted;
  return {
    seed,
    stitch: fabric.stitch,
    countable: truth.countable,
    status: measurement.status,
    rows: fabric.rowCount,
    counted: counted && Math.round(counted.value),
    orElse: counted?.orElse ?? null,
    codes: measurement.advice.map(({ code }) => code),
    gaugeErrors: gauge && [
      gauge.stitchesPer10cm.value / fabric.stitchesPer10cm - 1,
      gauge.rowsPer10cm.value / fabric.rowsPer10cm - 1,
    ],
    gaugeRatios: gauge && [
      (gauge.stitchesPer10cm.value - fabric.stitchesPer10cm) / gauge.stitchesPer10cm.standardUncertainty,
      (gauge.rowsPer10cm.value - fabric.rowsPer10cm) / gauge.rowsPer10cm.standardUncertainty,
    ],
  };
}

function reportRows(results: Rows[]): void {
  if (results.length === 0) return;
  console.log('\nRows counted in close photos, the stitch named');
  const countable = results.filter((r) => r.countable);
  const sure = countable.filter((r) => r.status === 'ok');
  const groups: [string, Rows[]][] = [
    ['countable', countable],
    ['countable, gauge sure', sure],
    ['countable, count sure', sure.filter((r) => r.counted !== null && r.orElse === null)],
  ];
  printTable(
    ['photos', 'number', 'counted', 'exact, of counted', 'within one', 'exact, of all'],
    groups.map(([name, group]) => {
      const counted = group.filter((r) => r.counted !== null);
      const within = (n: number) => counted.filter((r) => Math.abs(r.counted! - r.rows) <= n).length;
      return [
        name,
        String(group.length),
        percent(counted.length / group.length, 0),
        percent(within(0) / counted.length, 0),
        percent(within(1) / counted.length, 0),
        percent(within(0) / group.length, 0),
      ];
    }),
  );
}

// ---------------------------------------------------------------- drift

interface Drifting {
  seed: number;
  truePercent: number;
  readable: number;
  status: string;
  changePercent: number;
  standardUncertainty: number;
  /** What is said once the photo that does not fit in with the others was taken once more, as the maker is asked to. */
  againStatus: string;
}

/** Where the three photos of a piece are taken. */
const PARTS = [0, 0.5, 1] as const;
const ATTEMPTS = 2;

async function drifting(
  seed: number,
  firstPhoto: number,
  drifts: boolean,
  isPlanned: boolean,
): Promise<Drifting> {
  // Steady pieces change by nothing at all, drifting ones by 4 to 8 %.
  const size = 0.04 + 0.04 * (((seed * 7919) % 100) / 100);
  const share = drifts ? (seed % 4 < 2 ? size : -size) : 0;
  const piece = pieceOfParts(seed, share);
  const plannedGauge = isPlanned ? plannedFor(piece.fabric, seed) : undefined;
  const taken: Taken[] = [];
  for (const i of PARTS.keys()) {
    const one = await photographed(piece, i, firstPhoto, 0, plannedGauge);
    if (one) taken.push(one);
  }
  const said = (photos: readonly Taken[]) =>
    drift({
      bands: combineParts(
        photos.map(({ reading }) => reading),
        piece.rows,
        piece.fabric.stitchesPer10cm,
      ).bands,
      stitches: 100,
      rows: piece.rows,
      scaleRelativeUncertainty: photoRelativeU(Math.max(0.002, ...photos.map(({ scaleU }) => scaleU))),
    });
  const found = said(taken);
  const asked = found.oddPhoto && nearestTo(taken, found.oddPhoto.row);
  const again = asked && (await photographed(piece, asked.part, firstPhoto, asked.attempt + 1, plannedGauge));
  const withAgain = again ? said(taken.map((one) => (one === asked ? again : one))) : found;
  return {
    seed,
    truePercent: -100 * share,
    readable: taken.length,
    status: taken.length < 2 ? 'unread' : found.status,
    changePercent: found.changePercent.value,
    standardUncertainty: found.changePercent.standardUncertainty,
    againStatus: withAgain.status,
  };
}

/** A photo of a part of a piece that could be read. */
interface Taken {
  part: number;
  attempt: number;
  reading: PartReading;
  scaleU: number;
}

/** As a maker does: a photo that is refused, or unsure, is taken once more. */
async function photographed(
  piece: PieceOfParts,
  part: number,
  firstPhoto: number,
  firstAttempt: number,
  plannedGauge: PlannedGauge | undefined,
): Promise<Taken | null> {
  for (let attempt = firstAttempt; attempt < ATTEMPTS; attempt++) {
    const seed = firstPhoto + ATTEMPTS * part + attempt;
    const { scene, fromRow, toRow } = partOfPiece(piece, PARTS[part]!, { seed });
    const { jpeg } = await renderScene(scene);
    const one: Measurement = await measurePhoto(jpeg, { stitch: piece.fabric.stitch, plannedGauge });
    if (one.status !== 'ok' || !one.gauge) continue;
    const reading: PartReading = {
      name: `photo ${part + 1}`,
      gauge: one.gauge,
      localGauge: one.localGauge,
      rowsCounted: null,
      rowsSeen: null,
      rowsInView: { fromRow, toRow },
    };
    return { part, attempt, reading, scaleU: one.scale!.relativeUncertainty };
  }
  return null;
}

function nearestTo(taken: readonly Taken[], row: number): Taken {
  const far = ({ reading: { rowsInView } }: Taken): number =>
    Math.abs((rowsInView!.fromRow + rowsInView!.toRow) / 2 - row);
  return taken.reduce((a, b) => (far(b) < far(a) ? b : a));
}

function reportDrifts(results: Drifting[]): void {
  if (results.length === 0) return;
  console.log('\nDrift from three close photos a piece');
  const read = results.filter((r) => r.status !== 'unread');
  const steady = read.filter((r) => r.truePercent === 0);
  const moving = read.filter((r) => r.truePercent !== 0);
  const alarmed = (status: string) => status === 'tighter' || status === 'looser';
  const way = (r: Drifting) => (r.truePercent > 0 ? 'tighter' : 'looser');
  const share = (of: readonly Drifting[], is: (r: Drifting) => boolean) =>
    percent(of.filter(is).length / of.length, 0);
  printTable(
    [
      'pieces',
      'read',
      'steady',
      'false alarms',
      'drifting ≥ 4 %',
      'found',
      'another photo asked for',
      'found with it',
      'false alarms with it',
    ],
    [
      [
        String(results.length),
        percent(read.length / results.length, 0),
        String(steady.length),
        share(steady, (r) => alarmed(r.status)),
        String(moving.length),
        share(moving, (r) => r.status === way(r)),
        String(moving.filter((r) => r.status === 'unknown').length),
        share(moving, (r) => r.againStatus === way(r)),
        share(steady, (r) => alarmed(r.againStatus)),
      ],
    ],
  );
}
