import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { drawOverlay } from '../../vision/drawOverlay.ts';
import { measurePhoto } from '../../vision/measurePhoto.ts';
import type { Measurement } from '../../vision/measurement.ts';
import { greyPng, marks, middleOf, sample, type Sample } from './samples.ts';

describe('drawOverlay', () => {
  const SIDE = 900;
  let one: Sample;
  let measurement: Measurement;
  let drawn: { data: Buffer; width: number; height: number };
  let plain: Buffer;

  const pixels = async (bytes: Uint8Array) => {
    const { data, info } = await sharp(bytes).removeAlpha().raw().toBuffer({ resolveWithObject: true });
    expect(info.channels).toBe(3);
    return { data, width: info.width, height: info.height };
  };

  beforeAll(async () => {
    one = await sample('hdc-swatch-card');
    const pointsPx = marks(one, 'stitches', 8);
    measurement = await measurePhoto(one.bytes, {
      reference: 'manual',
      manual: { type: 'two-points', pointsPx, lengthMm: 54 },
    });
    drawn = await pixels(await drawOverlay(one.bytes, measurement, { maxSidePx: SIDE }));
    plain = (
      await pixels(
        await drawOverlay(one.bytes, { ...measurement, overlay: null, scale: null }, { maxSidePx: SIDE }),
      )
    ).data;
  });

  /** Share of the pixels about a place of the photo that the drawing changed plainly. */
  const changedAbout = (x: number, y: number, halfPx: number) => {
    const f = drawn.width / measurement.photo.widthPx;
    let changed = 0;
    let all = 0;
    for (let j = Math.round(y * f) - halfPx; j <= Math.round(y * f) + halfPx; j++) {
      for (let i = Math.round(x * f) - halfPx; i <= Math.round(x * f) + halfPx; i++) {
        const at = 3 * (j * drawn.width + i);
        const off = Math.max(...[0, 1, 2].map((c) => Math.abs(drawn.data[at + c] - plain[at + c])));
        if (off > 24) changed++;
        all++;
      }
    }
    return changed / all;
  };

  it('gives a PNG with the shape of the photo', () => {
    expect([drawn.width, drawn.height]).toEqual([SIDE, (SIDE * 1350) / 1800]);
  });

  it('draws over the cloth, and leaves the table as it is', () => {
    const { x, y } = middleOf(one);
    expect(changedAbout(x, y, 60)).toBeGreaterThan(0.05);
    expect(changedAbout(1600, 200, 50)).toBe(0);
  });

  it('draws lines with cloth between them, so that the maker sees whether they fit', () => {
    const { x, y } = middleOf(one);
    expect(changedAbout(x, y, 60)).toBeLessThan(0.6);
  });

  it('outlines what the scale was taken from', () => {
    const [a, b] = marks(one, 'stitches', 8);
    expect(changedAbout((a.x + b.x) / 2, (a.y + b.y) / 2, 6)).toBeGreaterThan(0.3);
  });

  it('draws nothing over a photo that was refused', async () => {
    const wall = await greyPng(320, 240, (x) => 150 + x / 10);
    const refused = await measurePhoto(wall, { pixelsOnly: true });
    expect(refused.status).toBe('refused');
    const { data, width, height } = await pixels(await drawOverlay(wall, refused));
    expect([width, height]).toEqual([320, 240]);
    for (let i = 0; i < 320; i++)
      expect(Math.abs(data[3 * (100 * 320 + i)] - (150 + i / 10))).toBeLessThan(2);
  });

  it('is not larger than asked, and never larger than the photo', async () => {
    const small = await pixels(await drawOverlay(one.bytes, measurement, { maxSidePx: 400 }));
    expect(Math.max(small.width, small.height)).toBe(400);
  });
});
