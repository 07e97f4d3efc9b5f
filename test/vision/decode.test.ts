import sharp, { type Sharp } from 'sharp';
import { describe, expect, it } from 'vitest';
import { decodePhoto } from '../../vision/decode.ts';
import { isVisionError, VisionError } from '../../vision/errors.ts';

/** 120 × 80, left half red, right half blue, with a white square in the top-left corner. */
function flag(): Sharp {
  const data = Buffer.alloc(120 * 80 * 3);
  for (let y = 0; y < 80; y++) {
    for (let x = 0; x < 120; x++) {
      const corner = x < 20 && y < 20;
      data.set(corner ? [255, 255, 255] : x < 60 ? [200, 20, 20] : [20, 20, 200], 3 * (120 * y + x));
    }
  }
  return sharp(data, { raw: { width: 120, height: 80, channels: 3 } });
}

const pixel = (photo: Awaited<ReturnType<typeof decodePhoto>>, x: number, y: number): number[] =>
  Array.from(photo.rgb.data.subarray(3 * (photo.rgb.widthPx * y + x), 3 * (photo.rgb.widthPx * y + x) + 3));

async function refusal(bytes: Uint8Array, options = {}): Promise<VisionError> {
  const error: unknown = await decodePhoto(bytes, options).then(
    () => null,
    (e: unknown) => e,
  );
  if (!isVisionError(error)) throw new Error(`expected a VisionError, got ${String(error)}`);
  expect(error.message).toMatch(/\.$/);
  expect(error.hint).toMatch(/\.$/);
  return error;
}

describe('decodePhoto', () => {
  it('gives upright pixels, luma and the original size', async () => {
    const photo = await decodePhoto(await flag().png().toBuffer());
    expect([photo.rgb.widthPx, photo.rgb.heightPx, photo.decodeScale]).toEqual([120, 80, 1]);
    expect(pixel(photo, 30, 60)).toEqual([200, 20, 20]);
    // BT.601: 0.299 × 200 + 0.587 × 20 + 0.114 × 20 = 73.82
    expect(photo.gray.data[120 * 60 + 30]).toBeCloseTo(73.82 / 255, 5);
    expect(photo.focalLength35mm).toBeNull();
  });

  it('turns a portrait photo upright as its EXIF says', async () => {
    // Orientation 6: the stored picture has to be turned 90° clockwise, so its top-left goes to top-right.
    const bytes = await flag().withMetadata({ orientation: 6 }).jpeg({ quality: 95 }).toBuffer();
    const photo = await decodePhoto(bytes);
    expect([photo.originalWidthPx, photo.originalHeightPx]).toEqual([80, 120]);
    expect(pixel(photo, 74, 5).every((v) => v > 240)).toBe(true);
    expect(pixel(photo, 5, 5)[0]).toBeGreaterThan(150);
  });

  it('keeps the focal length and nothing else of the EXIF data', async () => {
    const bytes = await flag()
      .withExif({ IFD2: { FocalLengthIn35mmFilm: '26' }, IFD3: { GPSLatitudeRef: 'N' } })
      .jpeg()
      .toBuffer();
    const photo = await decodePhoto(bytes);
    expect(photo.focalLength35mm).toBe(26);
    expect(Object.keys(photo).sort()).toEqual([
      'decodeScale',
      'focalLength35mm',
      'gray',
      'originalHeightPx',
      'originalWidthPx',
      'rgb',
    ]);
  });

  it('shrinks big photos and says by how much', async () => {
    const bytes = await flag().resize(3000, 2000, { kernel: 'nearest' }).jpeg().toBuffer();
    const photo = await decodePhoto(bytes, { maxSidePx: 1500 });
    expect([photo.rgb.widthPx, photo.rgb.heightPx]).toEqual([1500, 1000]);
    expect(photo.decodeScale).toBe(0.5);
    expect(photo.originalWidthPx).toBe(3000);
    expect(pixel(photo, 100, 100).every((v) => v > 240)).toBe(true);
  });

  it('decodes only a region when asked', async () => {
    const bytes = await flag().png().toBuffer();
    const photo = await decodePhoto(bytes, { region: { leftPx: 50, topPx: 30, widthPx: 20, heightPx: 10 } });
    expect([photo.rgb.widthPx, photo.rgb.heightPx, photo.originalWidthPx]).toEqual([20, 10, 120]);
    expect(pixel(photo, 5, 5)).toEqual([200, 20, 20]);
    expect(pixel(photo, 15, 5)).toEqual([20, 20, 200]);
    const outside = { region: { leftPx: 500, topPx: 0, widthPx: 9, heightPx: 9 } };
    const { code, reason } = await refusal(bytes, outside);
    expect([code, reason?.code]).toEqual(['bad-option', 'region-outside']);
  });

  it.each([
    ['CMYK JPEG', () => flag().toColourspace('cmyk').jpeg({ quality: 98, chromaSubsampling: '4:4:4' })],
    ['16-bit PNG', () => flag().toColourspace('rgb16').png()],
    ['16-bit TIFF', () => flag().toColourspace('rgb16').tiff()],
    ['WebP', () => flag().webp({ quality: 98 })],
    ['AVIF', () => flag().avif({ quality: 95 })],
    ['wide-gamut JPEG', () => flag().withIccProfile('p3').jpeg({ quality: 98 })],
    ['still GIF', () => flag().gif()],
  ])('reads %s as 8-bit sRGB', async (_name, make) => {
    const photo = await decodePhoto(await make().toBuffer());
    const [r, g, b] = pixel(photo, 30, 60);
    expect(r).toBeGreaterThan(170);
    expect(r).toBeLessThan(230);
    expect(g).toBeLessThan(60);
    expect(b).toBeLessThan(60);
    expect(pixel(photo, 5, 5).every((v) => v > 235)).toBe(true);
  });

  it('reads grey and lays transparency on white', async () => {
    const grey = await decodePhoto(await flag().grayscale().png().toBuffer());
    const [r, g, b] = pixel(grey, 30, 60);
    expect(r === g && g === b).toBe(true);
    const clear = sharp({
      create: { width: 60, height: 60, channels: 4, background: { r: 0, g: 0, b: 0, alpha: 0 } },
    });
    expect(pixel(await decodePhoto(await clear.png().toBuffer()), 30, 30)).toEqual([255, 255, 255]);
  });

  it('refuses files that are not photos, and says what to do', async () => {
    expect((await refusal(new Uint8Array(0))).code).toBe('empty-file');
    expect((await refusal(new TextEncoder().encode('hello, this is text'))).code).toBe('not-an-image');
    const svg = '<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg" width="99" height="99"/>';
    expect((await refusal(new TextEncoder().encode(svg))).code).toBe('unsupported-format');
    expect((await refusal(new TextEncoder().encode('%PDF-1.7 …'))).code).toBe('unsupported-format');
    expect((await refusal(await flag().resize(32, 32).png().toBuffer())).code).toBe('too-small');
  });

  it.each(['jpeg', 'png', 'webp'] as const)('refuses a truncated %s', async (format) => {
    const noise = Buffer.alloc(300 * 200 * 3, 0).map((_, i) => (i * 7919 * (i % 97)) & 255);
    const whole = await sharp(noise, { raw: { width: 300, height: 200, channels: 3 } })
      .toFormat(format)
      .toBuffer();
    expect((await decodePhoto(whole)).rgb.widthPx).toBe(300);
    expect(['damaged', 'not-an-image']).toContain((await refusal(whole.subarray(0, whole.length >> 1))).code);
  });

  it('refuses animations', async () => {
    const frames = await sharp(Buffer.alloc(60 * 180 * 3, 90).fill(200, 0, 9000), {
      raw: { width: 60, height: 180, channels: 3, pageHeight: 60 },
    })
      .gif()
      .toBuffer();
    expect((await sharp(frames).metadata()).pages).toBeGreaterThan(1);
    expect((await refusal(frames)).code).toBe('animated');
  });

  it('refuses 200 megapixels by the header alone', async () => {
    // A valid header with a large size is enough: nothing may be decoded before the size is known.
    const small = await flag().png().toBuffer();
    const huge = Buffer.from(small);
    huge.writeUInt32BE(20_000, 16);
    huge.writeUInt32BE(10_000, 20);
    const started = performance.now();
    const error = await refusal(huge);
    expect(['too-many-pixels', 'not-an-image']).toContain(error.code);
    expect(performance.now() - started).toBeLessThan(2000);
    const big = await sharp({ create: { width: 2000, height: 1000, channels: 3, background: '#888' } })
      .png()
      .toBuffer();
    expect((await refusal(big, { maxPixels: 1e6 })).message).toContain('2 megapixels');
  });

  it('says so when a HEIC file is broken', async () => {
    const bytes = new Uint8Array(400);
    bytes.set(new TextEncoder().encode('\0\0\0\u0018ftypheic\0\0\0\0mif1heic'));
    expect((await refusal(bytes)).code).toBe('damaged');
  });

  it('recognises its errors after they lost their class between threads', async () => {
    const error = await refusal(new Uint8Array(0));
    expect(isVisionError({ name: error.name, code: error.code, message: error.message })).toBe(true);
    expect(isVisionError(new Error('x'))).toBe(false);
  });
});
