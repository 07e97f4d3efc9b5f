import { readFile } from 'node:fs/promises';
import sharp from 'sharp';
import type { SceneTruth } from '../../fixtures/types.ts';
import type { Point } from '../../vision/types.ts';

/** The pictures that ship with the program, with what they truly show (from the geometry that was drawn). */
export const SAMPLES = ['hdc-swatch-card', 'herringbone-blocks-card', 'stockinette-ruler'] as const;
export type SampleName = (typeof SAMPLES)[number];

export interface Sample {
  bytes: Uint8Array;
  truth: SceneTruth & { fabric: NonNullable<SceneTruth['fabric']> };
}

const folder = new URL('../../fixtures/samples/', import.meta.url);
const loaded = new Map<SampleName, Promise<Sample>>();

export function sample(name: SampleName): Promise<Sample> {
  const known = loaded.get(name);
  if (known) return known;
  const loading = (async () => ({
    bytes: new Uint8Array(await readFile(new URL(`${name}.jpg`, folder))),
    truth: JSON.parse(await readFile(new URL(`${name}.json`, folder), 'utf8')) as Sample['truth'],
  }))();
  loaded.set(name, loading);
  return loading;
}

/** The middle of the cloth, picture pixels. */
export function middleOf({ truth }: Sample): Point {
  const { outlinePx } = truth.fabric;
  return {
    x: outlinePx.reduce((s, p) => s + p.x, 0) / outlinePx.length,
    y: outlinePx.reduce((s, p) => s + p.y, 0) / outlinePx.length,
  };
}

/** Two marks about the middle of the cloth with this many true stitches (or rows) between them. */
export function marks(one: Sample, axis: 'stitches' | 'rows', count: number): [Point, Point] {
  const { stitchAngleDeg, rowAngleDeg, stitchPitchPx, rowPitchPx } = one.truth.fabric;
  const angle = ((axis === 'stitches' ? stitchAngleDeg : rowAngleDeg) * Math.PI) / 180;
  const half = (count * (axis === 'stitches' ? stitchPitchPx : rowPitchPx)) / 2;
  const { x, y } = middleOf(one);
  return [
    { x: x - half * Math.cos(angle), y: y - half * Math.sin(angle) },
    { x: x + half * Math.cos(angle), y: y + half * Math.sin(angle) },
  ];
}

/** A grey PNG whose pixels have these values, 0…255. */
export async function greyPng(
  widthPx: number,
  heightPx: number,
  value: (x: number, y: number) => number,
): Promise<Uint8Array> {
  const data = Buffer.alloc(widthPx * heightPx);
  for (let y = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++) {
      data[y * widthPx + x] = Math.max(0, Math.min(255, Math.round(value(x, y))));
    }
  }
  return new Uint8Array(
    await sharp(data, { raw: { width: widthPx, height: heightPx, channels: 1 } })
      .png()
      .toBuffer(),
  );
}
