import sharp from 'sharp';
import { decodePhoto } from './decode.ts';
import type { Measurement } from './measurement.ts';
import type { Point } from './types.ts';

export interface DrawOverlayOptions {
  /** Longest side of the drawing, px. Default 1600. */
  maxSidePx?: number;
}

const ROW = '#ffd23f';
const STITCH = '#3fd0ff';
const REFERENCE = '#ff5d8f';

/**
 * Draws what was found over the photo: the reference's outline, the cloth's outline, every row and stitch
 * boundary, every fifth one stronger and numbered.
 *
 * @param bytes the photo, as given to `measurePhoto`
 * @returns a PNG
 */
export async function drawOverlay(
  bytes: Uint8Array,
  measurement: Measurement,
  options: DrawOverlayOptions = {},
): Promise<Uint8Array> {
  const { rgb, originalWidthPx } = await decodePhoto(bytes, { maxSidePx: options.maxSidePx ?? 1600 });
  const f = rgb.widthPx / originalWidthPx;
  const points = (line: Point[]) =>
    line.map((p) => `${(p.x * f).toFixed(1)},${(p.y * f).toFixed(1)}`).join(' ');
  const unit = Math.max(rgb.widthPx, rgb.heightPx) / 1000;
  const parts: string[] = [];
  const label = (p: Point, text: string, colour: string) =>
    parts.push(
      `<text x="${(p.x * f).toFixed(1)}" y="${(p.y * f).toFixed(1)}" font-size="${(13 * unit).toFixed(1)}" font-family="sans-serif" font-weight="bold" text-anchor="middle" fill="${colour}" stroke="#000" stroke-width="${(2.5 * unit).toFixed(1)}" paint-order="stroke">${text}</text>`,
    );
  const { overlay, scale } = measurement;
  if (overlay) {
    const family = (lines: Point[][], colour: string) => {
      lines.forEach((line, i) => {
        const fifth = i % 5 === 0;
        parts.push(
          `<polyline points="${points(line)}" fill="none" stroke="${colour}" stroke-opacity="${fifth ? 0.95 : 0.55}" stroke-width="${((fifth ? 2.2 : 1) * unit).toFixed(2)}"/>`,
        );
        if (fifth && i > 0) label(line[0], String(i), colour);
      });
    };
    family(overlay.rowLinesPx, ROW);
    family(overlay.stitchLinesPx, STITCH);
    parts.push(
      `<polygon points="${points(overlay.fabricOutlinePx)}" fill="none" stroke="#fff" stroke-opacity="0.8" stroke-dasharray="${6 * unit} ${5 * unit}" stroke-width="${(1.6 * unit).toFixed(2)}"/>`,
    );
  }
  if (scale) {
    parts.push(
      `<polygon points="${points(scale.outlinePx)}" fill="${REFERENCE}" fill-opacity="0.12" stroke="${REFERENCE}" stroke-width="${(2.4 * unit).toFixed(2)}"/>`,
    );
  }
  const svg = `<svg xmlns="http://www.w3.org/2000/svg" width="${rgb.widthPx}" height="${rgb.heightPx}">${parts.join('')}</svg>`;
  return new Uint8Array(
    await sharp(rgb.data, { raw: { width: rgb.widthPx, height: rgb.heightPx, channels: 3 } })
      .composite([{ input: Buffer.from(svg) }])
      .png({ compressionLevel: 6 })
      .toBuffer(),
  );
}
