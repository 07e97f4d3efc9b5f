import exifReader from 'exif-reader';
import sharp, { type Metadata, type OutputInfo, type Region, type Sharp } from 'sharp';
import { badOption } from './badOption.ts';
import { VisionError } from './errors.ts';
import { Luma } from './luma.ts';
import type { DecodedPhoto, RgbImage } from './types.ts';

export interface DecodeOptions {
  /** Longest side of the decoded photo, px; smaller photos are not enlarged. Default 2600. */
  maxSidePx?: number;
  /** Photos with more pixels than this are refused before anything is decoded. Default 120 million. */
  maxPixels?: number;
  /** Decode only this part, in upright original pixels; decoded (0, 0) is then its top-left corner. */
  region?: { leftPx: number; topPx: number; widthPx: number; heightPx: number };
}

const DEFAULT_MAX_SIDE_PX = 2600;
const DEFAULT_MAX_PIXELS = 120e6;
/** Below this no stitch and no reference can be read; mostly icons and previews saved by mistake. */
const MIN_SIDE_PX = 48;

/** Formats of sharp that are photos; SVG and PDF are drawings and could pull in other files. */
const PHOTO_FORMATS = new Set(['jpeg', 'png', 'webp', 'tiff', 'gif', 'heif', 'avif', 'jp2', 'jxl']);

const TRY_JPEG = 'Save or export the photo as JPEG and choose that.';

/** Pictures are decoded to at most this many pixels on the longer side; finer cloth needs a closer photo. */
const WORKING_SIDE_PX = 3000;

/**
 * Begins to decode a photo at the size at which it is measured. A fresh process can do so before it has loaded what
 * measures, since decoding has a thread of its own.
 *
 * @throws VisionError as `decodePhoto`, to whoever waits for it: nobody need have asked yet when it goes wrong
 */
export function decodeToMeasure(bytes: Uint8Array): Promise<DecodedPhoto> {
  const decoding = decodePhoto(bytes, { maxSidePx: WORKING_SIDE_PX });
  decoding.catch(() => undefined);
  return decoding;
}

/**
 * Reads an image file into upright 8-bit sRGB at working size.
 *
 * EXIF orientation is applied, CMYK, 16-bit, grey and wide-gamut pictures become 8-bit sRGB, transparency is
 * laid on white. Of the EXIF data only the 35 mm-equivalent focal length is kept: place, time and serial
 * numbers go no further than this function.
 *
 * @param bytes the whole file: JPEG, PNG, WebP, TIFF, AVIF, HEIC or a still GIF
 * @returns rgb and luma of equal size, with the original's upright size in pixels
 * @throws VisionError `empty-file`, `not-an-image`, `unsupported-format`, `animated`, `too-many-pixels`,
 *   `too-small`, `damaged` or `bad-option`
 * @example
 * const photo = await decodePhoto(await readFile('swatch.jpg'));
 * photo.gray.data[y * photo.gray.widthPx + x]; // 0 (black) … 1 (white)
 */
export async function decodePhoto(bytes: Uint8Array, options: DecodeOptions = {}): Promise<DecodedPhoto> {
  const maxSidePx = options.maxSidePx ?? DEFAULT_MAX_SIDE_PX;
  const maxPixels = options.maxPixels ?? DEFAULT_MAX_PIXELS;
  if (bytes.length === 0) {
    throw new VisionError('empty-file', 'This file is empty.', 'Choose the photo again, or take a new one.');
  }
  refuseDrawings(bytes);

  const buffer = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const meta = await readMetadata(buffer);
  const heif = looksLikeHeif(bytes);
  if (meta === null && !heif) {
    throw new VisionError(
      'not-an-image',
      'This file is not a picture, or it is damaged.',
      'Choose a photo: JPEG, PNG, WebP, TIFF or HEIC.',
    );
  }
  if (meta !== null) {
    if (!PHOTO_FORMATS.has(meta.format)) {
      throw new VisionError('unsupported-format', 'This kind of file is not a photo.', TRY_JPEG);
    }
    if ((meta.pages ?? 1) > 1 && meta.format !== 'heif') {
      throw new VisionError(
        'animated',
        'This file holds several pictures or an animation.',
        'Choose a single still photo.',
      );
    }
    checkSize(meta.width, meta.height, maxPixels);
  }

  const viaHeic = heif && !(meta?.format === 'heif' && meta.compression === 'av1');
  const focalLength35mm = readFocalLength(meta?.exif);
  const source = viaHeic ? await openHeic(buffer, maxPixels) : openWithSharp(buffer, maxPixels, meta!);
  const { originalWidthPx, originalHeightPx } = source;

  let pipeline = source.pipeline;
  let widthPx = originalWidthPx;
  let heightPx = originalHeightPx;
  if (options.region) {
    const region = wholePixelRegion(options.region, originalWidthPx, originalHeightPx);
    pipeline = pipeline.extract(region);
    widthPx = region.width;
    heightPx = region.height;
  }
  if (Math.max(widthPx, heightPx) > maxSidePx) {
    pipeline = pipeline.resize({ width: maxSidePx, height: maxSidePx, fit: 'inside', kernel: 'mitchell' });
  }

  let raw: { data: Buffer; info: OutputInfo };
  try {
    raw = await pipeline
      .flatten({ background: '#ffffff' })
      .toColourspace('srgb')
      .raw({ depth: 'uchar' })
      .toBuffer({ resolveWithObject: true });
  } catch (cause) {
    throw new VisionError(
      'damaged',
      'This picture is damaged: a part of it is missing or cannot be read.',
      'Copy the photo from the phone again, or take a new one.',
      { cause },
    );
  }
  const rgb = toRgb(raw.data, raw.info);
  return {
    rgb,
    gray: new Luma(rgb),
    originalWidthPx,
    originalHeightPx,
    decodeScale: rgb.widthPx / widthPx,
    focalLength35mm,
  };
}

interface OpenedPicture {
  pipeline: Sharp;
  originalWidthPx: number;
  originalHeightPx: number;
}

function openWithSharp(buffer: Buffer, maxPixels: number, meta: Metadata): OpenedPicture {
  // 'error' refuses truncated files but lets pass the harmless oddities that phones write into headers.
  const pipeline = sharp(buffer, { limitInputPixels: maxPixels, failOn: 'error' }).autoOrient();
  const turned = (meta.orientation ?? 1) >= 5;
  return {
    pipeline,
    originalWidthPx: turned ? meta.height : meta.width,
    originalHeightPx: turned ? meta.width : meta.height,
  };
}

/** HEIC needs a decoder that sharp's own build leaves out; this one turns the picture upright itself. */
async function openHeic(buffer: Buffer, maxPixels: number): Promise<OpenedPicture> {
  // Loaded when one comes: a sixteenth of a second that other photos need not wait for.
  const { default: heicDecode } = await import('heic-decode');
  try {
    const pictures = await heicDecode.all({ buffer });
    try {
      const first = pictures[0]!;
      checkSize(first.width, first.height, maxPixels);
      const { width, height, data } = await first.decode();
      const pixels = Buffer.from(data.buffer, data.byteOffset, data.byteLength);
      return {
        pipeline: sharp(pixels, { raw: { width, height, channels: 4 }, limitInputPixels: maxPixels }),
        originalWidthPx: width,
        originalHeightPx: height,
      };
    } finally {
      pictures.dispose();
    }
  } catch (cause) {
    if (cause instanceof VisionError) throw cause;
    throw new VisionError('damaged', 'This HEIC photo could not be read.', TRY_JPEG, { cause });
  }
}

async function readMetadata(buffer: Buffer): Promise<Metadata | null> {
  try {
    // No limit here: the size is checked by us, so that the message can name it.
    return await sharp(buffer, { limitInputPixels: false, failOn: 'none' }).metadata();
  } catch {
    return null;
  }
}

/** Throws for files that are drawings or documents, before any library may follow what they refer to. */
function refuseDrawings(bytes: Uint8Array): void {
  const head = Buffer.from(bytes.subarray(0, 1024)).toString('latin1');
  const isPdf = head.includes('%PDF-');
  const isMarkup = /^\s*(?:\u00ef\u00bb\u00bf)?\s*<(?:\?xml|!doctype|!--|svg|html)/i.test(head);
  const isZippedDrawing = bytes[0] === 0x1f && bytes[1] === 0x8b;
  if (isPdf || isMarkup || isZippedDrawing) {
    throw new VisionError(
      'unsupported-format',
      'This file is a document or a drawing, not a photo.',
      'Choose a photo taken with a camera or phone.',
    );
  }
}

function looksLikeHeif(bytes: Uint8Array): boolean {
  if (bytes.length < 12) return false;
  const box = String.fromCharCode(...bytes.subarray(4, 12));
  return /^ftyp(heic|heix|hevc|hevx|heim|heis|mif1|msf1)$/.test(box);
}

function checkSize(widthPx: number, heightPx: number, maxPixels: number): void {
  if (widthPx * heightPx > maxPixels) {
    const megapixels = Math.round((widthPx * heightPx) / 1e6);
    throw new VisionError(
      'too-many-pixels',
      `This picture has ${megapixels} megapixels; at most ${Math.round(maxPixels / 1e6)} can be read.`,
      'Choose a smaller size in the camera, or shrink the picture.',
    );
  }
  if (Math.min(widthPx, heightPx) < MIN_SIDE_PX) {
    throw new VisionError(
      'too-small',
      `This picture is only ${widthPx} × ${heightPx} pixels.`,
      'Choose the photo itself, not its preview.',
    );
  }
}

function wholePixelRegion(
  region: NonNullable<DecodeOptions['region']>,
  widthPx: number,
  heightPx: number,
): Region {
  const left = Math.max(0, Math.floor(region.leftPx));
  const top = Math.max(0, Math.floor(region.topPx));
  const right = Math.min(widthPx, Math.ceil(region.leftPx + region.widthPx));
  const bottom = Math.min(heightPx, Math.ceil(region.topPx + region.heightPx));
  if (!(right > left && bottom > top)) {
    throw badOption('region-outside');
  }
  return { left, top, width: right - left, height: bottom - top };
}

export function readFocalLength(exif: Buffer | undefined): number | null {
  if (!exif) return null;
  try {
    const focal: unknown = exifReader(exif).Photo?.FocalLengthIn35mmFilm;
    return typeof focal === 'number' && focal >= 8 && focal <= 1000 ? focal : null;
  } catch {
    return null; // broken EXIF is no reason to refuse a picture that can be seen
  }
}

function toRgb(data: Buffer, info: OutputInfo): RgbImage {
  const pixels = info.width * info.height;
  if (info.channels === 3) {
    return {
      widthPx: info.width,
      heightPx: info.height,
      data: new Uint8Array(data.buffer, data.byteOffset, 3 * pixels),
    };
  }
  const rgb = new Uint8Array(3 * pixels);
  for (let i = 0; i < pixels; i++) {
    for (let c = 0; c < 3; c++) rgb[3 * i + c] = data[info.channels * i + (info.channels < 3 ? 0 : c)]!;
  }
  return { widthPx: info.width, heightPx: info.height, data: rgb };
}
