import sharp, { type Region, type Sharp } from 'sharp';
import { readFocalLength } from './decode.ts';
import type { Measurement } from './measurement.ts';
import type { Point } from './types.ts';

/** The face is averaged to this many cells either way; print is smaller than a cell. */
const CELLS = 12;
/** A border this wide, as a share of the longer side, stays sharp: the scale is read off the edges. */
const KEPT_EDGE_SHARE = 0.045;
const QUALITY = 92;

/**
 * The photo with the face of its card or paper made unreadable: names and numbers on it are nobody's business.
 *
 * The face is averaged to a few cells, not blurred: a blur can be undone, a mean cannot. The outline stays, so
 * that the picture can be measured again; so does the focal length, and no other EXIF entry. Rulers, tapes and
 * our own sheet hold nothing private and stay as they are.
 *
 * @param bytes the photo file
 * @returns upright JPEG bytes; the same bytes when there is nothing to hide
 * @example
 * const safe = await hideReference(bytes, await measurePhoto(bytes));
 */
export async function hideReference(
  bytes: Uint8Array,
  { scale }: Pick<Measurement, 'scale'>,
): Promise<Uint8Array> {
  if (!scale || (scale.kind !== 'card' && scale.kind !== 'paper') || scale.outlinePx.length < 3) return bytes;
  const { exif, autoOrient } = await sharp(bytes).metadata();
  const focalLength35mm = readFocalLength(exif);
  const { width, height } = autoOrient;
  const face = insideBorder(scale.outlinePx);
  const left = clamp(Math.floor(Math.min(...face.map(({ x }) => x))), 0, width - 1);
  const top = clamp(Math.floor(Math.min(...face.map(({ y }) => y))), 0, height - 1);
  const right = clamp(Math.ceil(Math.max(...face.map(({ x }) => x))), left + 1, width);
  const bottom = clamp(Math.ceil(Math.max(...face.map(({ y }) => y))), top + 1, height);
  const area = { left, top, width: right - left, height: bottom - top };

  const cells = await averaged(bytes, area, width);
  const mask = Buffer.from(
    `<svg xmlns="http://www.w3.org/2000/svg" width="${area.width}" height="${area.height}"><polygon points="${face
      .map(({ x, y }) => `${x - left},${y - top}`)
      .join(' ')}"/></svg>`,
  );
  const patch = await sharp(cells)
    .resize(area.width, area.height, { fit: 'fill', kernel: 'cubic' })
    .ensureAlpha()
    .composite([{ input: mask, blend: 'dest-in' }])
    .png()
    .toBuffer();
  // Streams from file to file: all pixels at once would take more memory than measuring does.
  let picture = upright(bytes).composite([{ input: patch, left, top }]);
  if (focalLength35mm !== null) {
    picture = picture.withExif({ IFD2: { FocalLengthIn35mmFilm: String(Math.round(focalLength35mm)) } });
  }
  // Codes made for this very picture would save 2 %, but all of it would have to be held until they are known.
  const jpeg = picture.jpeg({ quality: QUALITY, chromaSubsampling: '4:4:4', optimiseCoding: false });
  return new Uint8Array(await jpeg.toBuffer());
}

/** As it is looked at, in 8-bit sRGB. */
function upright(bytes: Uint8Array): Sharp {
  return sharp(bytes).autoOrient().flatten({ background: '#ffffff' }).toColourspace('srgb');
}

/** Side of a cell in the small picture that the means are taken of, px. */
const CELL_PX = 4;

/** An area averaged to cells, from a picture that was made smaller while it was read. */
async function averaged(bytes: Uint8Array, area: Region, widthPx: number): Promise<Buffer> {
  const shrink = Math.max(1, Math.min(area.width, area.height) / (CELLS * CELL_PX));
  const small = await upright(bytes)
    .resize({ width: Math.max(1, Math.round(widthPx / shrink)) })
    .raw()
    .toBuffer({ resolveWithObject: true });
  const { width, height, channels } = small.info;
  const scale = width / widthPx;
  const left = clamp(Math.round(area.left * scale), 0, width - 1);
  const top = clamp(Math.round(area.top * scale), 0, height - 1);
  return await sharp(small.data, { raw: { width, height, channels } })
    .extract({
      left,
      top,
      width: clamp(Math.round(area.width * scale), 1, width - left),
      height: clamp(Math.round(area.height * scale), 1, height - top),
    })
    .resize(CELLS, CELLS, { fit: 'fill', kernel: 'mitchell' })
    .png()
    .toBuffer();
}

/** What lies inside a border of one width; an outline that is no quadrilateral shrinks towards its middle. */
function insideBorder(outline: readonly Point[]): Point[] {
  const [a, b, c, d] = outline;
  if (outline.length !== 4 || !a || !b || !c || !d) {
    const x0 = outline.reduce((sum, { x }) => sum + x, 0) / outline.length;
    const y0 = outline.reduce((sum, { y }) => sum + y, 0) / outline.length;
    const k = 1 - 2 * KEPT_EDGE_SHARE;
    return outline.map(({ x, y }) => ({ x: x0 + k * (x - x0), y: y0 + k * (y - y0) }));
  }
  const length = (p: Point, q: Point): number => Math.hypot(p.x - q.x, p.y - q.y);
  const across = (length(a, b) + length(d, c)) / 2;
  const down = (length(b, c) + length(a, d)) / 2;
  const border = KEPT_EDGE_SHARE * Math.max(across, down);
  const u = Math.min(0.25, border / across);
  const v = Math.min(0.25, border / down);
  const at = (s: number, t: number): Point => ({
    x: (1 - t) * ((1 - s) * a.x + s * b.x) + t * ((1 - s) * d.x + s * c.x),
    y: (1 - t) * ((1 - s) * a.y + s * b.y) + t * ((1 - s) * d.y + s * c.y),
  });
  return [at(u, v), at(1 - u, v), at(1 - u, 1 - v), at(u, 1 - v)];
}

const clamp = (value: number, low: number, high: number): number => Math.min(Math.max(value, low), high);
