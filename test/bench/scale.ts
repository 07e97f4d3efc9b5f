import { parseArgs } from 'node:util';
import { FIRST_HELD_BACK_SEED } from '../../fixtures/scene/sceneSpec.ts';
import { randomSceneSpec } from '../../fixtures/scene/randomSceneSpec.ts';
import { renderScene } from '../../fixtures/scene/renderScene.ts';
import type { ReferenceSpec } from '../../fixtures/types.ts';
import { decodePhoto } from '../../vision/decode.ts';
import { findScale } from '../../vision/findScale.ts';
import { mmPerPxAt } from '../../vision/scale/lens.ts';
import type { Point } from '../../vision/types.ts';

const KINDS = ['card', 'ruler', 'tape', 'paper', 'sheet', 'none'] as const;

interface Row {
  kind: (typeof KINDS)[number];
  tilt: string;
  background: string;
  found: boolean;
  /** ln(found ÷ true mm per px) at the middle of the work: in its own plane, and in the reference's. */
  atWork: number | null;
  atReference: number | null;
  standardUncertainty: number;
  ms: number;
}

/**
 * How often references are found, and how exact the scale is at the work, on generated scenes.
 *
 * Options: --count scenes of each kind (default 80), --seed-start (default the first held-back seed),
 * --reference kinds, comma-separated.
 */
export async function run(argv: string[]): Promise<void> {
  const { values } = parseArgs({
    args: argv,
    options: { count: { type: 'string' }, 'seed-start': { type: 'string' }, reference: { type: 'string' } },
  });
  const count = Number(values.count ?? 80);
  const start = Number(values['seed-start'] ?? FIRST_HELD_BACK_SEED);
  const kinds = values.reference ? KINDS.filter((k) => values.reference!.split(',').includes(k)) : KINDS;
  const rows: Row[] = [];
  for (const kind of kinds) {
    for (let seed = start; seed < start + count; seed++) rows.push(await measure(seed, kind));
  }
  print('kind', rows, (r) => r.kind);
  print('tilt', rows, (r) => r.tilt);
  print('background', rows, (r) => r.background);
}

async function measure(seed: number, kind: Row['kind']): Promise<Row> {
  const spec = randomSceneSpec(seed, { references: [kind as ReferenceSpec['kind']] });
  const { jpeg, truth } = await renderScene(spec);
  const photo = await decodePhoto(jpeg);
  const paperSize = spec.reference?.spec.kind === 'paper' ? spec.reference.spec.size : undefined;
  const started = performance.now();
  // The maker names the paper's size; everything else is found without help.
  const { scale } = findScale(photo, paperSize ? { reference: 'paper', paperSize } : { reference: 'auto' });
  const ms = performance.now() - started;
  const outline = truth.fabric?.outlinePx ?? truth.reference?.cornersPx ?? [];
  const middle: Point = {
    x: outline.reduce((s, p) => s + p.x, 0) / Math.max(1, outline.length),
    y: outline.reduce((s, p) => s + p.y, 0) / Math.max(1, outline.length),
  };
  const size = { widthPx: truth.widthPx, heightPx: truth.heightPx };
  const f = photo.decodeScale;
  const found =
    scale &&
    f *
      mmPerPxAt(
        scale.homographyPxToMm,
        scale.radialDistortion,
        { x: (middle.x + 0.5) * f - 0.5, y: (middle.y + 0.5) * f - 0.5 },
        photo.rgb,
      );
  const against = (h: typeof truth.homographyPxToMm): number =>
    Math.log(found! / mmPerPxAt(h, truth.radialDistortion, middle, size));
  const tilt = truth.tiltDeg < 10 ? '0–10°' : truth.tiltDeg < 20 ? '10–20°' : '20–35°';
  const named = scale !== null && truth.reference !== null && scale.kind === truth.reference.kind;
  return {
    kind,
    tilt,
    background: truth.background,
    found: kind === 'none' ? scale !== null : named,
    atWork: named ? against(truth.homographyPxToMm) : null,
    atReference: named ? against(truth.reference!.homographyPxToMm) : null,
    standardUncertainty: scale?.relativeUncertainty ?? 0,
    ms,
  };
}

function print(title: string, rows: Row[], key: (r: Row) => string): void {
  console.log(
    `\n| ${title} | scenes | found | median error | 95th pct | beyond 5 % | 95 % covers | median in reference's plane | median ms |\n|---|---|---|---|---|---|---|---|---|`,
  );
  for (const name of [...new Set(rows.map(key))]) {
    const some = rows.filter((r) => key(r) === name && (title === 'kind' || r.kind !== 'none'));
    if (some.length === 0) continue;
    const measured = some.filter((r) => r.atWork !== null);
    const errors = measured.map((r) => Math.abs(r.atWork!)).sort((p, q) => p - q);
    const own = measured.map((r) => Math.abs(r.atReference!)).sort((p, q) => p - q);
    const times = some.map((r) => r.ms).sort((p, q) => p - q);
    const share = (n: number, of: number): string => (of === 0 ? '–' : `${((100 * n) / of).toFixed(1)} %`);
    const at = (sorted: number[], q: number): string =>
      sorted.length === 0
        ? '–'
        : `${(100 * sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))]!).toFixed(2)} %`;
    const covered = measured.filter((r) => Math.abs(r.atWork!) <= 1.96 * r.standardUncertainty).length;
    console.log(
      `| ${name} | ${some.length} | ${share(some.filter((r) => r.found).length, some.length)} | ${at(errors, 0.5)} | ${at(errors, 0.95)} | ${errors.filter((e) => e > 0.05).length} | ${share(covered, measured.length)} | ${at(own, 0.5)} | ${Math.round(times[times.length >> 1]!)} |`,
    );
  }
}
