import { readFile } from 'node:fs/promises';
import sharp from 'sharp';

const SAMPLE = new URL('../../../fixtures/samples/hdc-swatch-card.jpg', import.meta.url);

/**
 * A sample enlarged to a phone's size, with a sensor's noise, as a JPEG of about a phone's weight.
 *
 * @param megapixels 12 (4000 × 3000) or 48 (8000 × 6000)
 */
export async function phonePhoto(megapixels: 12 | 48): Promise<Buffer> {
  const width = megapixels === 12 ? 4000 : 8000;
  const height = (3 * width) / 4;
  const noise = await sharp({
    create: {
      width,
      height,
      channels: 3,
      background: '#808080',
      noise: { type: 'gaussian', mean: 128, sigma: 6 },
    },
  })
    .png({ compressionLevel: 0 })
    .toBuffer();
  return await sharp(await readFile(SAMPLE))
    .resize(width, height, { kernel: 'lanczos3' })
    .composite([{ input: noise, blend: 'soft-light' }])
    .jpeg({ quality: 92 })
    .toBuffer();
}
