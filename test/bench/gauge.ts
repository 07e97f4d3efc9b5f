/**
 * How well stitches and rows are read from photos whose truth is known: `npm run bench -- gauge`.
 *
 * Options: --count N (60), --seed-start S (100000, the first held-back seed), --stitch KEY[,KEY…],
 * --layout solid[,…], --tilt LOW-HIGH, --reference card[,sheet], --hardship 0…1, --told (the maker names the
 * stitch), --refusals N (photos that must be refused), --json FILE (every result).
 */
import { writeFileSync } from 'node:fs';
import { parseArgs } from 'node:util';
import { randomSceneSpec } from '../../fixtures/scene/randomSceneSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import type { LayoutKind } from '../../fixtures/scene/sceneSpec.ts';
import type { ReferenceSpec } from '../../fixtures/types.ts';
import { measurePhoto } from '../../vision/measurePhoto.ts';
import type { StitchKey } from '../../vision/types.ts';
import { percent, printTable, quantile } from './statistics.ts';

interface Result {
  seed: number;
  stitch: string;
  status: string;
  countable: boolean;
  codes: string[];
  stitchError: number;
  rowError: number;
  stitchU: number;
  rowU: number;
  pitchPx: number;
  quality?: unknown;
  totalMs: number;
}

export async function run(args: string[]): Promise<void> {
  const { values } = parseArgs({
    args,
    options: {
      count: { type: 'string', default: '60' },
      'seed-start': { type: 'string', default: '100000' },
      stitch: { type: 'string' },
      layout: { type: 'string' },
      tilt: { type: 'string' },
      reference: { type: 'string', default: 'card' },
      hardship: { type: 'string' },
      told: { type: 'boolean' },
      refusals: { type: 'string', default: '0' },
      json: { type: 'string' },
    },
  });
  const results: Result[] = [];
  const start = Number(values['seed-start']);
  const tilt = values.tilt?.split('-').map(Number) as [number, number] | undefined;
  for (let seed = start; seed < start + Number(values.count); seed++) {
    const spec = randomSceneSpec(seed, {
      references: values.reference.split(',') as ReferenceSpec['kind'][],
      ...(values.stitch ? { stitches: values.stitch.split(',') as StitchKey[] } : {}),
      ...(values.layout ? { layouts: values.layout.split(',') as LayoutKind[] } : {}),
      ...(tilt ? { tiltDeg: tilt } : {}),
      ...(values.hardship ? { hardship: Number(values.hardship) } : {}),
    });
    const { jpeg, truth } = await renderScene(spec);
    const fabric = truth.fabric!;
    const measurement = await measurePhoto(jpeg, {
      reference: 'auto',
      ...(values.told ? { stitch: fabric.stitch } : {}),
    });
    const { gauge } = measurement;
    results.push({
      seed,
      stitch: fabric.stitch,
      status: measurement.status,
      countable: truth.countable,
      codes: measurement.advice.map((a) => a.code),
      stitchError: gauge ? gauge.stitchesPer10cm.value / fabric.stitchesPer10cm - 1 : NaN,
      rowError: gauge ? gauge.rowsPer10cm.value / fabric.rowsPer10cm - 1 : NaN,
      stitchU: gauge ? gauge.stitchesPer10cm.standardUncertainty / gauge.stitchesPer10cm.value : NaN,
      rowU: gauge ? gauge.rowsPer10cm.standardUncertainty / gauge.rowsPer10cm.value : NaN,
      pitchPx: Math.min(fabric.stitchPitchPx, fabric.rowPitchPx),
      totalMs: measurement.timingsMs.total ?? NaN,
    });
  }
  if (values.json) writeFileSync(values.json, JSON.stringify(results, null, 1));
  report(results);
  if (Number(values.refusals) > 0) await refusals(start, Number(values.refusals));
}

function report(results: Result[]): void {
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
}

async function refusals(start: number, count: number): Promise<void> {
  let refused = 0;
  for (let seed = start; seed < start + count; seed++) {
    const { jpeg } = await renderScene(
      randomSceneSpec(seed, { noFabric: true, references: ['card', 'none'] }),
    );
    const measurement = await measurePhoto(jpeg, { reference: 'auto' });
    if (measurement.status !== 'ok') refused++;
    else console.log(`seed ${seed}: a number where there is no cloth`);
  }
  console.log(`no cloth in view: ${refused} of ${count} not answered with a confident number`);
}
