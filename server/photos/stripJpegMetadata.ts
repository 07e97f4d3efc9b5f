import exifReader from 'exif-reader';

/** What of the metadata is kept: without them the picture lies on its side, or its tilt is harder to tell. */
export interface KeptMetadata {
  /** EXIF orientation, 1 to 8. */
  orientation: number;
  /** 35 mm-equivalent focal length, mm. */
  focalLength35mm: number | null;
}

export interface StrippedJpeg extends KeptMetadata {
  bytes: Uint8Array;
}

const MARKER = {
  SOI: 0xd8,
  EOI: 0xd9,
  SOS: 0xda,
  APP0: 0xe0,
  APP1: 0xe1,
  APP2: 0xe2,
  APP14: 0xee,
  APP15: 0xef,
  COM: 0xfe,
};
const ICC_SIGNATURE = 'ICC_PROFILE\0';

/**
 * Removes place, time, serial numbers, comments, previews and everything after the picture's end from a JPEG,
 * without touching the picture itself; the colour profile stays.
 *
 * Segment layout: ITU-T T.81 | ISO/IEC 10918-1, annex B; EXIF: CIPA DC-008, section 4.
 *
 * @returns null when the segments do not hold together or the end is missing: a damaged file
 * @example
 * const stripped = stripJpegMetadata(await readFile('swatch.jpg'));
 */
export function stripJpegMetadata(bytes: Uint8Array): StrippedJpeg | null {
  const buffer = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (buffer.length < 4 || buffer[0] !== 0xff || buffer[1] !== MARKER.SOI) return null;
  const head: Buffer[] = [];
  const rest: Buffer[] = [];
  const kept: KeptMetadata = { orientation: 1, focalLength35mm: null };
  let seenScan = false;
  let at = 2;
  while (at + 1 < buffer.length) {
    if (buffer[at] !== 0xff) return null;
    const marker = buffer[at + 1]!;
    if (marker === 0xff) {
      at++; // fill byte
      continue;
    }
    if (marker === MARKER.EOI) {
      if (!seenScan) return null;
      const pieces = [
        Buffer.from([0xff, MARKER.SOI]),
        ...head,
        exifSegment(kept),
        ...rest,
        buffer.subarray(at, at + 2),
      ];
      return { bytes: Buffer.concat(pieces), ...kept };
    }
    if (at + 4 > buffer.length) return null;
    const end = at + 2 + buffer.readUInt16BE(at + 2);
    if (end < at + 4 || end > buffer.length) return null;
    const segment = buffer.subarray(at, end);
    if (marker === MARKER.APP0) head.push(segment);
    else if (marker === MARKER.APP1) readExif(segment.subarray(4), kept);
    else if (isKept(marker, segment)) rest.push(segment);
    at = end;
    if (marker === MARKER.SOS) {
      seenScan = true;
      const next = endOfScan(buffer, at);
      rest.push(buffer.subarray(at, next));
      at = next;
    }
  }
  return null;
}

function isKept(marker: number, segment: Buffer): boolean {
  if (marker === MARKER.APP2)
    return segment.toString('latin1', 4, 4 + ICC_SIGNATURE.length) === ICC_SIGNATURE;
  if (marker === MARKER.APP14) return true; // says how the colours of this file are coded
  return marker !== MARKER.COM && !(marker > MARKER.APP0 && marker <= MARKER.APP15);
}

/** First byte after `from` that begins a marker other than a restart or a stuffed zero. */
function endOfScan(buffer: Buffer, from: number): number {
  for (let at = buffer.indexOf(0xff, from); at !== -1; at = buffer.indexOf(0xff, at + 1)) {
    const next = buffer[at + 1];
    if (next === undefined) break;
    if (next !== 0x00 && next !== 0xff && !(next >= 0xd0 && next <= 0xd7)) return at;
  }
  return buffer.length;
}

function readExif(payload: Buffer, kept: KeptMetadata): void {
  if (payload.toString('latin1', 0, 6) !== 'Exif\0\0') return;
  try {
    const exif = exifReader(Buffer.from(payload));
    const orientation: unknown = exif.Image?.Orientation;
    if (typeof orientation === 'number' && orientation >= 1 && orientation <= 8)
      kept.orientation = orientation;
    const focal: unknown = exif.Photo?.FocalLengthIn35mmFilm;
    if (typeof focal === 'number' && focal >= 8 && focal <= 1000) kept.focalLength35mm = Math.round(focal);
  } catch {
    // Broken EXIF is dropped like any other.
  }
}

const TAG = { orientation: 0x0112, exifFolder: 0x8769, focalLength35mm: 0xa405 };
const TYPE = { short: 3, long: 4 };

/** The smallest EXIF segment that says these two things, or nothing when there is nothing to say. */
function exifSegment({ orientation, focalLength35mm }: KeptMetadata): Buffer {
  if (orientation === 1 && focalLength35mm === null) return Buffer.alloc(0);
  const entry = (tag: number, type: number, value: number): Buffer => {
    const bytes = Buffer.alloc(12);
    bytes.writeUInt16BE(tag, 0);
    bytes.writeUInt16BE(type, 2);
    bytes.writeUInt32BE(1, 4);
    if (type === TYPE.short) bytes.writeUInt16BE(value, 8);
    else bytes.writeUInt32BE(value, 8);
    return bytes;
  };
  const folder = (entries: Buffer[]): Buffer => {
    const count = Buffer.alloc(2);
    count.writeUInt16BE(entries.length);
    return Buffer.concat([count, ...entries, Buffer.alloc(4)]);
  };
  const TIFF_HEADER = Buffer.from([0x4d, 0x4d, 0, 42, 0, 0, 0, 8]);
  const main = [entry(TAG.orientation, TYPE.short, orientation)];
  let tiff: Buffer;
  if (focalLength35mm === null) tiff = Buffer.concat([TIFF_HEADER, folder(main)]);
  else {
    const offset = TIFF_HEADER.length + 2 + 2 * 12 + 4;
    main.push(entry(TAG.exifFolder, TYPE.long, offset));
    const inner = folder([entry(TAG.focalLength35mm, TYPE.short, focalLength35mm)]);
    tiff = Buffer.concat([TIFF_HEADER, folder(main), inner]);
  }
  const payload = Buffer.concat([Buffer.from('Exif\0\0', 'latin1'), tiff]);
  const header = Buffer.from([0xff, MARKER.APP1, 0, 0]);
  header.writeUInt16BE(payload.length + 2, 2);
  return Buffer.concat([header, payload]);
}
