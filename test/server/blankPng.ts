import { crc32, deflateSync } from 'node:zlib';

/** A PNG of one colour: a hundred megapixels in a few kilobytes, or a header that promises more. */
export function blankPng(widthPx: number, heightPx: number): Buffer {
  const header = Buffer.alloc(13);
  header.writeUInt32BE(widthPx, 0);
  header.writeUInt32BE(heightPx, 4);
  header.writeUInt8(1, 8); // one bit a pixel
  const lineBytes = Math.ceil(widthPx / 8) + 1;
  const rows = lineBytes * heightPx < 5e7 ? heightPx : 1;
  const chunk = (type: string, data: Buffer): Buffer => {
    const body = Buffer.concat([Buffer.from(type, 'latin1'), data]);
    const [length, sum] = [Buffer.alloc(4), Buffer.alloc(4)];
    length.writeUInt32BE(data.length);
    sum.writeUInt32BE(crc32(body));
    return Buffer.concat([length, body, sum]);
  };
  return Buffer.concat([
    Buffer.from('89504e470d0a1a0a', 'hex'),
    chunk('IHDR', header),
    chunk('IDAT', deflateSync(Buffer.alloc(lineBytes * rows))),
    chunk('IEND', Buffer.alloc(0)),
  ]);
}
