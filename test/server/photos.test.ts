import exifReader from 'exif-reader';
import { readdir } from 'node:fs/promises';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { stripJpegMetadata } from '../../server/photos/stripJpegMetadata.ts';
import type { Problem } from '../../server/api/schemas.ts';
import { blankPng } from './blankPng.ts';
import { HEIC_PICTURE } from './heicPicture.ts';
import { makePicture, OWN, startTestServer, type TestServer } from './support.ts';

let server: TestServer;
beforeAll(async () => {
  server = await startTestServer({ takesJobs: false });
});
afterAll(async () => {
  await server.stop();
});

/** A photo as a phone writes it: place, time, serial number, lying on its side. */
const phonePhoto = async (): Promise<Buffer> =>
  await sharp(await makePicture({ widthPx: 400, heightPx: 300 }))
    .withMetadata({ orientation: 6 })
    .withExifMerge({
      IFD0: { Make: 'Phonemaker', DateTime: '2026:03:04 10:11:12', Orientation: '6' },
      IFD2: { BodySerialNumber: 'SERIAL-4711', FocalLengthIn35mmFilm: '26' },
      IFD3: {
        GPSLatitudeRef: 'N',
        GPSLatitude: '51/1 30/1 0/1',
        GPSLongitudeRef: 'W',
        GPSLongitude: '0/1 7/1 0/1',
      },
    })
    .jpeg()
    .toBuffer();

describe('keeping a photo', () => {
  it('keeps the picture bit for bit, and of its metadata only how it lies and its focal length', async () => {
    const sent = await phonePhoto();
    const photo = await server.uploadPhoto(sent);
    expect(photo).toMatchObject({ widthPx: 300, heightPx: 400 }); // upright
    const kept = Buffer.from(await (await fetch(`${server.api}/photos/${photo.id}/image`)).arrayBuffer());
    const { exif, orientation } = await sharp(kept).metadata();
    expect(orientation).toBe(6);
    expect(exifReader(exif!)).toEqual({
      bigEndian: true,
      Image: { Orientation: 6, ExifTag: expect.any(Number) as number },
      Photo: { FocalLengthIn35mmFilm: 26 },
    });
    expect(kept.includes('SERIAL-4711')).toBe(false);
    expect(await sharp(kept).raw().toBuffer()).toEqual(await sharp(sent).raw().toBuffer());
  });

  it('drops what follows the end of the picture', async () => {
    const jpeg = await makePicture();
    const polyglot = Buffer.concat([jpeg, Buffer.from('PK\x03\x04 <script>alert(1)</script>')]);
    expect(Buffer.from(stripJpegMetadata(polyglot)!.bytes).includes('script')).toBe(false);
  });

  it.each(['png', 'webp', 'tiff', 'avif'] as const)('keeps a %s as JPEG', async (format) => {
    const photo = await server.uploadPhoto(await makePicture({ format }));
    const answer = await fetch(`${server.api}/photos/${photo.id}/image`);
    const kept = await sharp(Buffer.from(await answer.arrayBuffer())).metadata();
    expect(kept).toMatchObject({ format: 'jpeg', width: 320, height: 240 });
  });

  it('keeps a HEIC, as phones write it, as JPEG', async () => {
    const photo = await server.uploadPhoto(HEIC_PICTURE);
    const answer = await fetch(`${server.api}/photos/${photo.id}/image`);
    const kept = await sharp(Buffer.from(await answer.arrayBuffer())).metadata();
    expect(kept).toMatchObject({ format: 'jpeg', width: 96, height: 64 });
  });

  it('gives a smaller picture when asked for a width', async () => {
    const photo = await server.uploadPhoto(await makePicture());
    const answer = await fetch(`${server.api}/photos/${photo.id}/image?widthPx=80`);
    expect(answer.headers.get('content-type')).toBe('image/jpeg');
    expect(await sharp(Buffer.from(await answer.arrayBuffer())).metadata()).toMatchObject({
      width: 80,
      height: 60,
    });
  });
});

describe('what is no usable photo is refused with what to do, and leaves nothing behind', () => {
  /** Written in passes, so that all of it is held while it is decoded; 10 000 × 10 000 by its header. */
  const inPasses = async (): Promise<Buffer> => {
    const jpeg = await sharp(await makePicture())
      .jpeg({ progressive: true })
      .toBuffer();
    const frame = jpeg.indexOf(Buffer.from([0xff, 0xc2]));
    jpeg.writeUInt16BE(10_000, frame + 5);
    jpeg.writeUInt16BE(10_000, frame + 7);
    return jpeg;
  };
  const cases: [name: string, bytes: () => Promise<Buffer> | Buffer, code: string][] = [
    ['an empty file', () => Buffer.alloc(0), 'empty-file'],
    ['text', () => Buffer.from('hello'), 'not-an-image'],
    [
      'a drawing that would fetch something',
      () =>
        Buffer.from('<svg xmlns="http://www.w3.org/2000/svg"><image href="http://127.0.0.1/x.png"/></svg>'),
      'unsupported-format',
    ],
    ['a JPEG cut in half', async () => (await makePicture()).subarray(0, 3000), 'damaged'],
    ['a JPEG start and nothing else', () => Buffer.from([0xff, 0xd8, 0xff, 0xe0]), 'damaged'],
    ['an icon', () => makePicture({ widthPx: 20, heightPx: 20, format: 'png' }), 'too-small'],
    ['a picture larger than it can be', () => blankPng(60_000, 60_000), 'too-many-pixels'],
    ['a hundred megapixels in some kilobytes', () => blankPng(10_000, 10_000), 'too-many-pixels'],
    ['a JPEG that shrinks only once it is decoded', inPasses, 'too-many-pixels'],
  ];
  it.each(cases)('%s', async (_name, bytes, code) => {
    const answer = await server.upload('/photos', 'photo', await bytes());
    const problem = (await answer.json()) as Problem;
    expect(answer.status).toBe(422);
    expect(answer.headers.get('content-type')).toContain('application/problem+json');
    expect(problem).toMatchObject({ code, status: 422 });
    expect(problem.hint).toBeTruthy();
    expect(await readdir(server.services.incomingFolder)).toEqual([]);
  });

  it('a file over the size limit, before it is read', async () => {
    const answer = await server.upload('/photos', 'photo', Buffer.alloc(41 * 1024 * 1024));
    expect(answer.status).toBe(413);
  });

  it('no file, two files, or another field', async () => {
    const none = await fetch(`${server.api}/photos`, { method: 'POST', headers: OWN, body: new FormData() });
    expect(none.status).toBe(400);
    expect((await server.upload('/photos', 'picture', await makePicture())).status).toBe(400);
    const two = new FormData();
    for (let i = 0; i < 2; i++) two.append('photo', new Blob([(await makePicture()) as BlobPart]), 'a.jpg');
    expect((await fetch(`${server.api}/photos`, { method: 'POST', headers: OWN, body: two })).status).toBe(
      400,
    );
    expect(await readdir(server.services.incomingFolder)).toEqual([]);
  });

  it('a name that tries to be a path is just ignored', async () => {
    const answer = await server.upload('/photos', 'photo', await makePicture(), '../../../../tmp/evil.jpg');
    expect(answer.status).toBe(201);
  });
});

describe('deleting', () => {
  it('is refused while a piece uses the photo', async () => {
    const photo = await server.uploadPhoto(await makePicture());
    const swatch = { id: crypto.randomUUID(), role: 'main', photoId: photo.id };
    await server.send('POST', '/pieces', { name: 'Harbour throw', swatches: [swatch] });
    expect((await server.send('DELETE', `/photos/${photo.id}`)).status).toBe(409);
  });

  it('removes the picture', async () => {
    const photo = await server.uploadPhoto(await makePicture());
    expect((await server.send('DELETE', `/photos/${photo.id}`)).status).toBe(204);
    expect((await fetch(`${server.api}/photos/${photo.id}/image`)).status).toBe(404);
  });
});
