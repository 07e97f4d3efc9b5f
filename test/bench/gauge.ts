/**
 * How well stitches and rows are read from photos whose truth is known: `npm run bench -- gauge`.
 *
 * Options: --from SEED (950000, held back for published figures), --count N (600 photos with cloth),
 * --refusals N (200 photos without, which must not be answered), --part I/N (every Nth photo from the Ith on),
 * --json FILE (every photo, with all that the verdict rests on), --merge FILE… (no run: the tables of what such
 * files hold); --stitch KEY[,KEY…], --layout solid[,…], --tilt LOW-HIGH, --reference card[,sheet],
 * --hardship 0…1, --told (the maker names the stitch).
 */
import { parseArgs } from 'node:util';
import { randomSceneSpec } from '../../fixtures/scene/randomSceneSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import type { LayoutKind, SceneConstraints } from '../../fixtures/scene/sceneSpec.ts';
import type { ReferenceSpec } from '../../fixtures/types.ts';
import { measurePhoto } from '../../vision/measurePhoto.ts';
import type { Evidence } from '../../vision/judge.ts';
import type { Advice, StitchKey } from '../../vision/types.ts';
import { indexesOf, readParts, SEED_OPTIONS, writePart } from './parts/seedParts.ts';
import { percent, printTable, quantile } from './statistics.ts';

interface Result {
  seed: number;
  /** No cloth is in this photo: any confident answer is wrong. */
  isRefusal: boolean;
  stitch: string;
  status: string;
  countable: boolean;
  codes: string[];
  stitchError: number;
  rowError: number;
  stitchU: number;
  rowU: number;
  pitchPx: number;
  scaleError: number;
  /** What `judge` saw, when it came to that. */
  evidence: ReturnType<typeof plainEvidence> | null;
  alternatives: unknown[];
  counted: unknown;
  truth: {
    stitchesPer10cm: number;
    rowsPer10cm: number;
    tiltDeg: number;
    background: string;
    layout: string;
    reference: string | null;
    lies: string | null;
    workHeightMm: number;
    driftOverPiece: number;
  };
  totalMs: number;
}

/** Everything of the evidence that is a number or a name, so that limits can be studied without the photos. */
function plainEvidence({
  lattice,
  fabric,
  scale,
  countFactor,
  consensus,
  octaves,
  mean,
  photo,
  flat,
}: Evidence) {
  return {
    quality: lattice.quality,
    looksLike: lattice.looksLike,
    rivals: lattice.rivals,
    fabric: { looksLike: fabric.looksLike },
    scale: scale && {
      kind: scale.kind,
      variety: scale.variety,
      confidence: scale.confidence,
      tiltDeg: scale.tiltDeg,
      mmPerPx: scale.mmPerPx,
      relativeUncertainty: scale.relativeUncertainty,
      relativeUncertaintyPerReferenceLength: scale.relativeUncertaintyPerReferenceLength,
    },
    octaves,
    countFactor,
    consensus,
    mean,
    decodeScale: photo.decodeScale,
    pxPerMm: flat.pxPerMm,
  };
}

export async function run(args: string[]): Promise<void> {
  const { values, positionals } = parseArgs({
    args,
    allowPositionals: true,
    options: {
      ...SEED_OPTIONS,
      stitch: { type: 'string' },
      layout: { type: 'string' },
      tilt: { type: 'string' },
      reference: { type: 'string', default: 'card' },
      hardship: { type: 'string' },
      told: { type: 'boolean' },
      refusals: { type: 'string', default: '200' },
    },
  });
  if (values.merge) return report(readParts<Result>(positionals));
  const from = Number(values.from ?? 950_000);
  const photos = Number(values.count ?? 600);
  const tilt = values.tilt?.split('-').map(Number) as [number, number] | undefined;
  const constraints: SceneConstraints = {
    references: values.reference.split(',') as ReferenceSpec['kind'][],
    ...(values.stitch ? { stitches: values.stitch.split(',') as StitchKey[] } : {}),
    ...(values.layout ? { layouts: values.layout.split(',') as LayoutKind[] } : {}),
    ...(tilt ? { tiltDeg: tilt } : {}),
    ...(values.hardship ? { hardship: Number(values.hardship) } : {}),
  };
  const results: Result[] = [];
  for (const index of indexesOf(photos + Number(values.refusals), values.part)) {
    const isRefusal = index >= photos;
    const none: SceneConstraints = { noFabric: true, references: ['card', 'none'] };
    results.push(await measure(from + index, isRefusal ? none : constraints, values.told ?? false));
    writePart(values.json, results);
  }
  report(results);
}

async function measure(seed: number, constraints: SceneConstraints, told: boolean): Promise<Result> {
  const { jpeg, truth } = await renderScene(randomSceneSpec(seed, constraints));
  const { fabric } = truth;
  let evidence: Result['evidence'] = null;
  const measurement = await measurePhoto(
    jpeg,
    { reference: 'auto', ...(told && fabric ? { stitch: fabric.stitch } : {}) },
    { onEvidence: (all) => (evidence = plainEvidence(all)) },
  );
  const { gauge } = measurement;
  const relative = (found: number | undefined, true_: number | undefined) =>
    found && true_ ? found / true_ - 1 : NaN;
  const stitches = gauge?.stitchesPer10cm;
  const rows = gauge?.rowsPer10cm;
  return {
    seed,
    isRefusal: fabric === null,
    stitch: fabric?.stitch ?? 'none',
    status: measurement.status,
    countable: truth.countable,
    codes: measurement.advice.map((a: Advice) => a.code),
    stitchError: relative(stitches?.value, fabric?.stitchesPer10cm),
    rowError: relative(rows?.value, fabric?.rowsPer10cm),
    stitchU: stitches ? stitches.standardUncertainty / stitches.value : NaN,
    rowU: rows ? rows.standardUncertainty / rows.value : NaN,
    pitchPx: fabric ? Math.min(fabric.stitchPitchPx, fabric.rowPitchPx) : NaN,
    scaleError: measurement.scale ? Math.log(measurement.scale.mmPerPx / truth.mmPerPx) : NaN,
    evidence,
    alternatives: measurement.alternatives,
    counted: measurement.counted,
    truth: {
      stitchesPer10cm: fabric?.stitchesPer10cm ?? NaN,
      rowsPer10cm: fabric?.rowsPer10cm ?? NaN,
      tiltDeg: truth.tiltDeg,
      background: truth.background,
      layout: fabric?.layout ?? 'none',
      reference: truth.reference?.variety ?? null,
      lies: truth.reference?.lies ?? null,
      workHeightMm: truth.workHeightMm,
      driftOverPiece: fabric?.driftOverPiece ?? NaN,
    },
    totalMs: measurement.timingsMs.total ?? NaN,
  };
}

function report(all: Result[]): void {
  const results = all.filter((r) => !r.isRefusal);
  const groups = new Map<string, Result[]>([['all', results]]);
  for (const r of results) groups.set(r.stitch, [...(groups.get(r.stitch) ?? []), r]);
  const worst = (r: Result) => Math.max(Math.abs(r.stitchError), Math.abs(r.rowError));
  const rows = [...groups].map(([name, group]) => {
    const ok = group.filter((r) => r.status === 'ok');
    const countable = group.filter((r) => r.countable);
    const within = (limit: number) => ok.filter((r) => worst(r) <= limit).length / ok.length;
    const covered = ok.flatMap((r) => [
      Math.abs(r.stitchError) <= 1.96 * r.stitchU,
      Math.abs(r.rowError) <= 1.96 * r.rowU,
    ]);
    return [
      name,
      String(group.length),
      percent(countable.filter((r) => r.status === 'ok').length / countable.length, 0),
      percent(
        quantile(
          ok.map((r) => Math.abs(r.stitchError)),
          0.5,
        ),
      ),
      percent(
        quantile(
          ok.map((r) => Math.abs(r.rowError)),
          0.5,
        ),
      ),
      percent(within(0.03), 0),
      percent(within(0.04), 0),
      percent(ok.filter((r) => worst(r) > 0.3).length / ok.length),
      percent(covered.filter(Boolean).length / covered.length, 0),
      percent(group.filter((r) => r.status === 'refused').length / group.length, 0),
    ];
  });
  printTable(
    [
      'fabric',
      'photos',
      'ok of countable',
      'median stitch error',
      'median row error',
      'ok: both ≤ 3 %',
      'ok: both ≤ 4 %',
      'ok: > 30 % off',
      '95 % covers',
      'refused',
    ],
    rows,
  );
  console.log(`median time ${quantile(results.map((r) => r.totalMs), 0.5).toFixed(0)} ms`); // prettier-ignore
  const empty = all.filter((r) => r.isRefusal);
  const answered = empty.filter((r) => r.status === 'ok');
  for (const { seed } of answered) console.log(`seed ${seed}: a confident number where there is no cloth`);
  console.log(
    `no cloth in view: ${empty.length - answered.length} of ${empty.length} without a confident number`,
  );
}
