/**
 * Scores any folder of photos with sidecar truth: `npm run bench -- folder DIR [--told] [--json FILE]`.
 *
 * Beside NAME.jpg (or .jpeg, .png, .webp) lies NAME.json:
 * `{"stitch","stitchPitchPx","rowPitchPx","region":[x,y,w,h]}`. `stitch` and `region` may be left out; only
 * stitches inside the region are read. Two published baselines are run on the same region.
 */
import { existsSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { parseArgs } from 'node:util';
import { z } from 'zod';
import { decodePhoto } from '../../vision/decode.ts';
import { measurePhoto } from '../../vision/measurePhoto.ts';
import { STITCH_KEYS } from '../../vision/types.ts';
import { autocorrelationPeak, spectrumPeak, type BaselinePitch } from './baselines.ts';
import { percent, printTable, quantile } from './statistics.ts';

const sidecarSchema = z.object({
  stitch: z.enum(STITCH_KEYS).optional(),
  stitchPitchPx: z.number().positive(),
  rowPitchPx: z.number().positive(),
  region: z.tuple([z.number(), z.number(), z.number().positive(), z.number().positive()]).optional(),
  stitchAngleDeg: z.number().optional(),
});

interface Scored {
  name: string;
  stitch: string;
  status: string;
  stitchError: number;
  rowError: number;
  spectrum: number;
  autocorrelation: number;
  codes: string[];
}

export async function run(args: string[]): Promise<void> {
  const { values, positionals } = parseArgs({
    args,
    allowPositionals: true,
    options: { told: { type: 'boolean' }, json: { type: 'string' } },
  });
  const folder = positionals[0];
  if (folder === undefined || !existsSync(folder)) {
    console.error('usage: npm run bench -- folder DIR [--told] [--json FILE]');
    process.exitCode = 2;
    return;
  }
  const scored: Scored[] = [];
  for (const file of readdirSync(folder).sort()) {
    const match = /^(.*)\.(jpe?g|png|webp)$/i.exec(file);
    if (!match || !existsSync(join(folder, `${match[1]}.json`))) continue;
    const parsed = sidecarSchema.safeParse(
      JSON.parse(readFileSync(join(folder, `${match[1]}.json`), 'utf8')),
    );
    if (!parsed.success) {
      console.error(`${match[1]}.json: ${parsed.error.issues[0].message}; left out`);
      continue;
    }
    const truth = parsed.data;
    const bytes = new Uint8Array(readFileSync(join(folder, file)));
    const corners = truth.region && cornersOf(truth.region);
    const measurement = await measurePhoto(bytes, {
      pixelsOnly: true,
      ...(corners ? { regionPx: corners } : {}),
      ...(values.told && truth.stitch ? { stitch: truth.stitch } : {}),
    });
    const { lattice } = measurement;
    const error = (got: number | null | undefined, want: number) => (got ? got / want - 1 : NaN);
    const baseline = async (method: (gray: never) => BaselinePitch) => {
      const [x, y, w, h] = truth.region ?? [0, 0, measurement.photo.widthPx, measurement.photo.heightPx];
      const part = await decodePhoto(bytes, {
        region: {
          leftPx: Math.max(0, Math.round(x)),
          topPx: Math.max(0, Math.round(y)),
          widthPx: Math.min(measurement.photo.widthPx - Math.max(0, Math.round(x)), Math.round(w)),
          heightPx: Math.min(measurement.photo.heightPx - Math.max(0, Math.round(y)), Math.round(h)),
        },
      });
      const pitch = method(part.gray as never);
      // The baselines cannot tell rows from columns; they are told which way the rows run.
      const turned = Math.abs(Math.sin((((truth.stitchAngleDeg ?? 0) as number) * Math.PI) / 180)) > 0.7;
      const stitch = turned ? pitch.verticalPx : pitch.horizontalPx;
      const row = turned ? pitch.horizontalPx : pitch.verticalPx;
      return Math.max(Math.abs(error(stitch, truth.stitchPitchPx)), Math.abs(error(row, truth.rowPitchPx)));
    };
    scored.push({
      name: match[1],
      stitch: truth.stitch ?? 'unknown',
      status: measurement.status,
      stitchError: error(lattice?.stitchPitchPx, truth.stitchPitchPx),
      rowError: error(lattice?.rowPitchPx, truth.rowPitchPx),
      spectrum: await baseline(spectrumPeak as never),
      autocorrelation: await baseline(autocorrelationPeak as never),
      codes: measurement.advice.map((a) => a.code),
    });
  }
  if (values.json) writeFileSync(values.json, JSON.stringify(scored, null, 1));
  const groups = new Map<string, Scored[]>([['all', scored]]);
  for (const s of scored) groups.set(s.stitch, [...(groups.get(s.stitch) ?? []), s]);
  const worst = (s: Scored) => Math.max(Math.abs(s.stitchError), Math.abs(s.rowError));
  const share = (list: Scored[], test: (s: Scored) => boolean) =>
    list.length ? percent(list.filter(test).length / list.length, 0) : '–';
  printTable(
    [
      'fabric',
      'photos',
      'both ≤ 5 %',
      'ok',
      'ok: both ≤ 5 %',
      'ok: > 30 % off',
      'median stitch',
      'median row',
      'spectrum peak ≤ 5 %',
      'autocorrelation ≤ 5 %',
    ],
    [...groups].map(([name, list]) => {
      const ok = list.filter((s) => s.status === 'ok');
      return [
        name,
        String(list.length),
        share(list, (s) => worst(s) <= 0.05),
        share(list, (s) => s.status === 'ok'),
        share(ok, (s) => worst(s) <= 0.05),
        share(ok, (s) => !(worst(s) <= 0.3)),
        percent(quantile(list.map((s) => Math.abs(s.stitchError)), 0.5)), // prettier-ignore
        percent(quantile(list.map((s) => Math.abs(s.rowError)), 0.5)), // prettier-ignore
        share(list, (s) => s.spectrum <= 0.05),
        share(list, (s) => s.autocorrelation <= 0.05),
      ];
    }),
  );
}

const cornersOf = ([x, y, w, h]: [number, number, number, number]) => [
  { x, y },
  { x: x + w, y },
  { x: x + w, y: y + h },
  { x, y: y + h },
];
