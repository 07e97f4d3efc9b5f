import exifReader from 'exif-reader';
import sharp from 'sharp';
import { beforeAll, describe, expect, it } from 'vitest';
import { decodePhoto } from '../../vision/decode.ts';
import { hideReference } from '../../vision/hideReference.ts';
import type { MeasuredScale, Measurement } from '../../vision/measurement.ts';
import { cardScale, findCards } from '../../vision/scale/findCard.ts';

const FLAT = { workHeightMm: { mean: 0, sd: 0 } };

/** A card with rows of print on it, turned by 12°, 6 px to the mm (ID-1: 85.60 × 53.98 mm, ISO/IEC 7810). */
async function photo(): Promise<Uint8Array> {
  const print = Array.from(
    { length: 60 },
    (_, i) =>
      `<rect x="${-38 + (i % 20) * 3.9}" y="${-12 + Math.floor(i / 20) * 10}" width="2" height="5" fill="#f5f0e0"/>`,
  ).join('');
  const svg = `<svg xmlns="http://www.w3.org/2000/svg" width="1200" height="900"><rect width="1200" height="900" fill="#cfc7b8"/><g transform="translate(600 450) rotate(12) scale(6)"><rect x="-42.8" y="-26.99" width="85.6" height="53.98" rx="3.18" fill="#2b5d8c"/>${print}</g></svg>`;
  return new Uint8Array(
    await sharp(Buffer.from(svg))
      .blur(0.8)
      .withExif({ IFD0: { Make: 'x' }, IFD2: { FocalLengthIn35mmFilm: '26', BodySerialNumber: '1234' } })
      .jpeg({ quality: 95 })
      .toBuffer(),
  );
}

const measuredBy = (scale: Partial<MeasuredScale>) => ({ scale }) as Pick<Measurement, 'scale'>;

describe('hideReference', () => {
  let before: Uint8Array;
  let after: Uint8Array;
  const scaleOf = async (bytes: Uint8Array) => {
    const decoded = await decodePhoto(bytes);
    return cardScale(decoded, findCards(decoded, FLAT)[0]!);
  };

  beforeAll(async () => {
    before = await photo();
    after = await hideReference(before, measuredBy(await scaleOf(before)));
  });

  it('leaves nothing of the print: what stays inside varies less than a letter would', async () => {
    const spread = async (bytes: Uint8Array): Promise<number> => {
      const face = { left: 500, top: 400, width: 200, height: 110 };
      const cut = await sharp(bytes).extract(face).greyscale().png().toBuffer();
      return (await sharp(cut).stats()).channels[0]!.stdev;
    };
    expect(await spread(before)).toBeGreaterThan(30);
    expect(await spread(after)).toBeLessThan(12);
  });

  it('keeps the edges, so that the picture gives the same scale again', async () => {
    const [first, again] = [await scaleOf(before), await scaleOf(after)];
    expect(again.confidence).toBeGreaterThan(0.5);
    expect(Math.abs(again.mmPerPx / first.mmPerPx - 1)).toBeLessThan(0.001);
  });

  it('keeps of EXIF the focal length alone', async () => {
    const { exif } = await sharp(after).metadata();
    const tags = exifReader(exif!);
    expect(tags.Photo?.FocalLengthIn35mmFilm).toBe(26);
    expect(tags.Photo?.BodySerialNumber).toBeUndefined();
    expect(tags.Image?.Make).toBeUndefined();
  });

  it.each(['ruler', 'tape', 'sheet', 'manual'] as const)('leaves a %s as it is', async (kind) => {
    const outlinePx = [
      { x: 100, y: 100 },
      { x: 300, y: 100 },
      { x: 300, y: 200 },
    ];
    expect(await hideReference(before, measuredBy({ kind, outlinePx }))).toBe(before);
  });
});
