/**
 * How often references are found, and how exact the scale is at the work, on generated photos whose truth is
 * known: `npm run bench -- scale`.
 *
 * Options: --from SEED (900000, held back for published figures), --count N (600: two thirds with a reference,
 * one third without any), --reference KIND[,KIND…] (only these), --part I/N (every Nth scene from the Ith on),
 * --json FILE (every scene), --merge FILE… (no run: the tables of what such files hold).
 */
import { parseArgs } from 'node:util';
import { applyHomography } from '../../fixtures/scene/camera.ts';
import { randomSceneSpec } from '../../fixtures/scene/randomSceneSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import { Rng } from '../../fixtures/scene/rng.ts';
import type { SceneSpec } from '../../fixtures/scene/sceneSpec.ts';
import type { SceneTruth } from '../../fixtures/types.ts';
import { decodePhoto } from '../../vision/decode.ts';
import { findScale } from '../../vision/findScale.ts';
import { measurePhoto } from '../../vision/measurePhoto.ts';
import type { Measurement, MeasureOptions } from '../../vision/measurement.ts';
import { mmPerPxAt, undistort } from '../../vision/scale/lens.ts';
import type { Matrix3, Point, Scale } from '../../vision/types.ts';
import { indexesOf, readParts, SEED_OPTIONS, writePart } from './parts/seedParts.ts';
import { percent, printTable, quantile } from './statistics.ts';

const REFERENCES = ['card', 'ruler', 'tape', 'paper', 'sheet'] as const;
type Kind = (typeof REFERENCES)[number] | 'none';
/** A scale this far off at the reference itself was taken from something else. */
const WRONG_THING = 0.1;
/** A maker's click, px (common practice). */
const CLICK_SD_PX = 1.5;

/** A scale against the truth at the middle of the work; errors are ln(found ÷ true mm per px). */
interface Judged {
  error: number;
  /** Relative standard uncertainty there. */
  uncertainty: number;
}

interface Row {
  seed: number;
  kind: Kind;
  variety: string | null;
  tiltDeg: number;
  background: string;
  light: string;
  lies: string | null;
  countable: boolean;
  /** What was taken, or null. */
  took: null | { kind: string; variety: string; confidence: number; tiltDeg: number; k1: number | null };
  advice: string[];
  /** Of the kind that is there, and within a tenth of the truth at the reference. */
  found: boolean;
  /** In the reference's own plane, at the reference. */
  atReference: number | null;
  /** At the work, before and after the stitches told how thick the cloth is. */
  assumed: Judged | null;
  atWork: Judged | null;
  /** True lens and focal length beside what was fitted. */
  lens: { k1: number; exifLies: boolean; hasExif: boolean };
  status: string;
  /** Paper whose size was not told: what came of it. */
  untold: null | { took: string | null; advice: string[] };
  /** Scales marked by hand with clicks of `CLICK_SD_PX`. */
  twoPoints: Judged | null;
  rectangle: Judged | null;
  findMs: number;
}

export async function run(args: string[]): Promise<void> {
  const { values, positionals } = parseArgs({
    args,
    allowPositionals: true,
    options: { ...SEED_OPTIONS, reference: { type: 'string' } },
  });
  if (values.merge) return report(readParts<Row>(positionals));
  const from = Number(values.from ?? 900_000);
  const only = values.reference?.split(',') as Kind[] | undefined;
  const rows: Row[] = [];
  for (const index of indexesOf(Number(values.count ?? 600), values.part)) {
    rows.push(await measure(from + index, only ? only[index % only.length]! : kindOf(index)));
    writePart(values.json, rows);
  }
  report(rows);
}

/** Ten of fifteen scenes hold a reference, two of each kind. */
function kindOf(index: number): Kind {
  const place = index % 15;
  return place < 10 ? REFERENCES[place % 5]! : 'none';
}

async function measure(seed: number, kind: Kind): Promise<Row> {
  // Without a reference, every other picture is without cloth as well: a table with things on it.
  const noFabric = kind === 'none' && seed % 2 === 1;
  const spec = randomSceneSpec(seed, { references: [kind], noFabric });
  const { jpeg, truth } = await renderScene(spec);
  // The working size of `measurePhoto`, so that both see the same pixels.
  const photo = await decodePhoto(jpeg, { maxSidePx: 3000 });
  const paper = spec.reference?.spec.kind === 'paper' ? spec.reference.spec.size : null;
  const options: MeasureOptions = paper ? { reference: 'paper', paperSize: paper } : { reference: 'auto' };

  const started = performance.now();
  const result = await findScale(photo, { reference: 'auto', ...options });
  const findMs = performance.now() - started;
  const { scale } = result;
  const measurement = await measurePhoto(jpeg, options);
  const untold = paper ? await findScale(photo, { reference: 'auto' }) : null;

  const f = photo.decodeScale;
  const toDecoded = (p: Point): Point => ({ x: (p.x + 0.5) * f - 0.5, y: (p.y + 0.5) * f - 0.5 });
  const size = { widthPx: truth.widthPx, heightPx: truth.heightPx };
  const error = (s: Scale, at: Point, plane: Matrix3): number =>
    Math.log(
      (f * mmPerPxAt(s.homographyPxToMm, s.radialDistortion, toDecoded(at), photo.rgb)) /
        mmPerPxAt(plane, truth.radialDistortion, at, size),
    );
  const middle = meanOf(truth.fabric?.outlinePx ?? truth.reference?.cornersPx ?? []);
  const judged = (s: Scale): Judged => ({
    error: error(s, middle, truth.homographyPxToMm),
    uncertainty: uncertaintyAt(s, toDecoded(middle)),
  });

  const { reference } = truth;
  const own =
    scale && reference ? error(scale, meanOf(reference.cornersPx), reference.homographyPxToMm) : null;
  // A tape laid straight may be called a ruler: it is read the same.
  const family = (kind: string | undefined) => (kind === 'tape' ? 'ruler' : kind);
  const named = scale !== null && family(scale.kind) === family(reference?.kind);
  const judgedAtWork = (s: Scale, measured: Measurement['scale']): Judged => {
    // `measurePhoto` multiplies the scale by one factor once it knows the cloth.
    const factor = measured ? measured.mmPerPx / (s.mmPerPx * f) : 1;
    const relativeUncertainty = measured?.relativeUncertainty ?? s.relativeUncertainty;
    return {
      error: judged(s).error + Math.log(factor),
      uncertainty: uncertaintyAt({ ...s, relativeUncertainty }, toDecoded(middle)),
    };
  };
  return {
    seed,
    kind,
    variety: reference?.variety ?? null,
    tiltDeg: truth.tiltDeg,
    background: truth.background,
    light: lightOf(spec),
    lies: reference?.lies ?? null,
    countable: truth.countable,
    took: scale && {
      kind: scale.kind,
      variety: scale.variety,
      confidence: scale.confidence,
      tiltDeg: scale.tiltDeg,
      k1: scale.radialDistortion,
    },
    advice: result.advice.map((a) => a.code),
    found: named && Math.abs(own!) < WRONG_THING,
    atReference: own,
    assumed: scale && named ? judged(scale) : null,
    atWork: scale && named ? judgedAtWork(scale, measurement.scale) : null,
    lens: {
      k1: truth.radialDistortion,
      hasExif: spec.exifFocal35mm !== null,
      exifLies: spec.exifFocal35mm !== null && spec.exifFocal35mm !== spec.camera.focal35mm,
    },
    status: measurement.status,
    untold: untold && { took: untold.scale?.variety ?? null, advice: untold.advice.map((a) => a.code) },
    ...(await byHand(seed, truth, async (manual) => {
      const marked = (await findScale(photo, { reference: 'manual', manual: inDecodedPx(manual, toDecoded) }))
        .scale;
      if (!marked) return null;
      const known = (await measurePhoto(jpeg, { reference: 'manual', manual })).scale;
      return judgedAtWork(marked, known);
    })),
    findMs: Math.round(findMs),
  };
}

type Manual = NonNullable<MeasureOptions['manual']>;

function inDecodedPx(manual: Manual, toDecoded: (p: Point) => Point): Manual {
  return manual.type === 'two-points'
    ? { ...manual, pointsPx: manual.pointsPx.map(toDecoded) as [Point, Point] }
    : { ...manual, cornersPx: manual.cornersPx.map(toDecoded) as [Point, Point, Point, Point] };
}

/** The reference marked by hand where it truly is, give or take a click. */
async function byHand(
  seed: number,
  truth: SceneTruth,
  judgeMarked: (manual: Manual) => Promise<Judged | null>,
): Promise<Pick<Row, 'twoPoints' | 'rectangle'>> {
  const { reference } = truth;
  if (!reference || reference.bendRadiusMm !== 0) return { twoPoints: null, rectangle: null };
  const rng = new Rng(seed, 'clicks');
  const size = { widthPx: truth.widthPx, heightPx: truth.heightPx };
  const corners = reference.cornersPx as [Point, Point, Point, Point];
  const [a, b, , d] = corners.map((p) =>
    applyHomography(reference.homographyPxToMm, undistort(p, size, truth.radialDistortion)),
  ) as [Point, Point, Point, Point];
  const apart = (p: Point, q: Point): number => Math.hypot(p.x - q.x, p.y - q.y);
  const clicked = corners.map((p) => ({
    x: p.x + rng.gauss(0, CLICK_SD_PX),
    y: p.y + rng.gauss(0, CLICK_SD_PX),
  })) as [Point, Point, Point, Point];
  const isThing = reference.kind === 'card' || reference.kind === 'paper' || reference.kind === 'sheet';
  return {
    twoPoints: await judgeMarked({
      type: 'two-points',
      pointsPx: [clicked[0], clicked[1]],
      lengthMm: apart(a, b),
    }),
    rectangle: isThing
      ? await judgeMarked({
          type: 'rectangle',
          cornersPx: clicked,
          widthMm: apart(a, b),
          heightMm: apart(a, d),
        })
      : null,
  };
}

/** As a measurement adds it: what is known at the reference, and more with distance from it. */
function uncertaintyAt(scale: Scale, at: Point): number {
  const middle = meanOf(scale.outlinePx);
  const size = Math.max(...scale.outlinePx.map((p) => 2 * Math.hypot(p.x - middle.x, p.y - middle.y)));
  const distance = Math.hypot(at.x - middle.x, at.y - middle.y) / Math.max(1, size);
  return Math.hypot(scale.relativeUncertainty, scale.relativeUncertaintyPerReferenceLength * distance);
}

function meanOf(points: readonly Point[]): Point {
  const n = Math.max(1, points.length);
  return {
    x: points.reduce((s, p) => s + p.x, 0) / n,
    y: points.reduce((s, p) => s + p.y, 0) / n,
  };
}

function lightOf({ light, illumination }: SceneSpec): string {
  if (illumination.phoneShadow) return "phone's shadow";
  if (illumination.hotSpot) return 'glare';
  if (illumination.second) return 'two lamps';
  return light.direction[2] < Math.sin((28 * Math.PI) / 180) ? 'raking' : 'even';
}

const tiltBand = (r: Row): string => (r.tiltDeg < 10 ? ' 0–10°' : r.tiltDeg < 20 ? '10–20°' : '20–35°');

function report(rows: Row[]): void {
  const withReference = rows.filter((r) => r.kind !== 'none');
  const none = rows.filter((r) => r.kind === 'none');
  printErrors('kind', withReference, (r) => r.kind);
  printErrors('tilt', withReference, tiltBand);
  printErrors('kind, tilt', withReference, (r) => `${r.kind}, ${tiltBand(r)}`);
  printErrors('background', withReference, (r) => r.background);
  printErrors('light', withReference, (r) => r.light);
  printErrors('lies', withReference, (r) => `${r.kind}, ${r.lies}`);

  const falseFinds = none.filter((r) => r.took !== null);
  const measuredWith = falseFinds.filter((r) => r.status !== 'refused').length;
  console.log(
    `\nfalse finds: ${falseFinds.length} of ${none.length} scenes without a reference, ${measuredWith} of them measured with`,
  );
  for (const r of falseFinds)
    console.log(`  seed ${r.seed}: ${r.took!.kind} ${r.took!.variety}, ${r.status}`);
  const strays = withReference.filter((r) => r.took !== null && !r.found);
  console.log(`something else taken for the reference: ${strays.length} of ${withReference.length}`);
  for (const r of strays)
    console.log(`  seed ${r.seed}: ${r.took!.kind} ${r.took!.variety} where ${r.kind} lay, ${r.status}`);
  const unitsOf = (name: string | null) => name?.match(/inch|metric/)?.[0];
  const confused = withReference.filter(
    (r) =>
      (r.took?.kind === 'ruler' || r.took?.kind === 'tape') &&
      unitsOf(r.variety) !== undefined &&
      unitsOf(r.took.variety) !== undefined &&
      unitsOf(r.variety) !== unitsOf(r.took.variety),
  );
  for (const r of confused)
    console.log(`  seed ${r.seed}: ${r.took!.variety} where ${r.variety} lay, ${r.status}`);
  console.log(
    `inches taken for millimetres or the reverse: ${confused.length}, with status ok ${confused.filter((r) => r.status === 'ok').length}`,
  );
  const paper = rows.filter((r) => r.untold !== null);
  const wrongSize = paper.filter((r) => r.untold!.took !== null && r.untold!.took !== r.variety);
  console.log(
    `paper of untold size: asked which ${paper.filter((r) => r.untold!.advice.includes('which-paper')).length}, wrong size taken ${wrongSize.length}, of ${paper.length}`,
  );
  console.log();
  const marks = (['twoPoints', 'rectangle'] as const).map((way) => {
    const seen = rows.map((r) => r[way]).filter((j) => j !== null);
    return [way === 'twoPoints' ? 'two points' : 'four corners', String(seen.length), ...errorCells(seen)];
  });
  printTable(['marked by hand', 'scenes', ...ERROR_HEAD], marks);
}

const ERROR_HEAD = ['median error', '95th pct', '95 % covers', 'beyond 3 ±'];

function errorCells(judged: Judged[]): string[] {
  const errors = judged.map((j) => Math.abs(j.error));
  const covered = judged.filter((j) => Math.abs(j.error) <= 1.96 * j.uncertainty).length;
  return [
    percent(quantile(errors, 0.5), 2),
    percent(quantile(errors, 0.95), 2),
    percent(covered / judged.length),
    String(judged.filter((j) => Math.abs(j.error) > 3 * j.uncertainty).length),
  ];
}

function printErrors(title: string, rows: Row[], key: (r: Row) => string): void {
  const names = [...new Set(rows.map(key))].sort();
  console.log();
  printTable(
    [title, 'scenes', 'found', ...ERROR_HEAD, 'cloth not known', "in reference's plane", 'median ms'],
    names.map((name) => {
      const some = rows.filter((r) => key(r) === name);
      const found = some.filter((r) => r.found);
      return [
        name,
        String(some.length),
        percent(found.length / some.length),
        ...errorCells(found.map((r) => r.atWork!)),
        percent(
          quantile(
            found.map((r) => Math.abs(r.assumed!.error)),
            0.5,
          ),
          2,
        ),
        percent(
          quantile(
            found.map((r) => Math.abs(r.atReference!)),
            0.5,
          ),
          2,
        ),
        quantile(
          some.map((r) => r.findMs),
          0.5,
        ).toFixed(0),
      ];
    }),
  );
}
