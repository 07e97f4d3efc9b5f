/** Photos in a bucket in place of a folder: the same promises, over the wire. */
import { existsSync } from 'node:fs';
import { readdir } from 'node:fs/promises';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { readConfig } from '../../server/config.ts';
import { openObjectStore } from '../../server/storage/objectStore.ts';
import type { StorageError } from '../../server/storage/storageError.ts';
import { KEYS, signatureOf, startObjectStoreStub, type ObjectStoreStub } from './objectStoreStub.ts';
import { makePicture, startTestServer } from './support.ts';

let stub: ObjectStoreStub;
beforeEach(async () => {
  stub = await startObjectStoreStub();
});
afterEach(() => stub.stop());

const open = (settings = {}) => openObjectStore({ url: stub.url, region: 'us-east-1', ...KEYS, ...settings });

describe('the bucket of these tests', () => {
  it('signs as the published example does', () => {
    // “Example: GET Object”, Amazon S3 API Reference, Signature Calculations for the Authorization Header
    const payloadHash = 'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855';
    const signature = signatureOf(
      {
        method: 'GET',
        url: new URL('https://examplebucket.s3.amazonaws.com/test.txt'),
        headers: [
          ['host', 'examplebucket.s3.amazonaws.com'],
          ['range', 'bytes=0-9'],
          ['x-amz-content-sha256', payloadHash],
          ['x-amz-date', '20130524T000000Z'],
        ],
        payloadHash,
        when: '20130524T000000Z',
        scope: '20130524/us-east-1/s3/aws4_request',
      },
      'wJalrXUtnFEMI/K7MDENG/bPxRfiCYEXAMPLEKEY',
    );
    expect(signature).toBe('f0e8bdb87c964420e857bd35b5d6ed310bd44f0170aba48dd91039c6036bdb41');
  });
});

describe('photos in a bucket', () => {
  it('are given back as they were put, listed page by page, and gone when removed', async () => {
    const store = await open();
    const keys: string[] = [];
    for (let i = 0; i < 8; i++) keys.push(await store.put(Buffer.from(`photo ${i}`)));
    expect(Buffer.from((await store.get(keys[5]!))!).toString()).toBe('photo 5');
    const listed: string[] = [];
    for await (const { key, putAt } of store.list()) {
      listed.push(key);
      expect(Math.abs(Date.now() - putAt.getTime())).toBeLessThan(60_000);
    }
    expect(listed.toSorted()).toEqual(keys.toSorted());
    await store.remove(keys[5]!);
    await store.remove(keys[5]!); // twice is once
    expect(await store.get(keys[5]!)).toBeNull();
  });

  it('lie beside other things in the bucket, which are let be', async () => {
    const store = await open();
    stub.objects.set('photos/notes.txt', { bytes: Buffer.from('hers'), at: new Date() });
    stub.objects.set('elsewhere', { bytes: Buffer.from('hers'), at: new Date() });
    const key = await store.put(Buffer.from('photo'));
    const listed: string[] = [];
    for await (const one of store.list()) listed.push(one.key);
    expect(listed).toEqual([key]);
    await expect(store.get('../elsewhere')).rejects.toThrow(/not a photo key/);
  });

  it('are put again when the store is away for a moment', async () => {
    const store = await open();
    stub.troubles.push(503, 500);
    const key = await store.put(Buffer.from('photo'));
    expect(stub.objects.size).toBe(1);
    expect(Buffer.from((await store.get(key))!).toString()).toBe('photo');
  });

  it.each([
    ['stays away', () => stub.troubles.push(503, 503, 503)],
    ['refuses', () => stub.troubles.push(403)],
  ])('are said not to be kept when the store %s', async (_how, makeTrouble) => {
    const store = await open();
    makeTrouble();
    await expect(store.put(Buffer.from('photo'))).rejects.toMatchObject({
      code: 'photo-store-unreachable',
    } satisfies Partial<StorageError>);
    expect(stub.objects.size).toBe(0);
  });

  it('are there whole or not at all when the line is cut', async () => {
    const store = await open();
    await stub.stop();
    await expect(store.put(new Uint8Array(5_000_000))).rejects.toMatchObject({
      code: 'photo-store-unreachable',
    });
    expect(stub.objects.size).toBe(0);
    stub = await startObjectStoreStub();
  });

  it('are not kept with a wrong key, nor in a bucket that is not there', async () => {
    await expect(open({ key: 'guessed' })).rejects.toMatchObject({ code: 'photo-store-unreachable' });
    await expect(open({ url: stub.url.replace('swatches', 'nothing') })).rejects.toThrow(/no such bucket/);
  });
});

describe('a server with a bucket', () => {
  it('keeps, measures, shows and deletes photos, and leaves none on its disk', async () => {
    const server = await startTestServer({
      environment: {
        SWATCH_GAUGE_S3_URL: stub.url,
        SWATCH_GAUGE_S3_KEY_ID: KEYS.keyId,
        SWATCH_GAUGE_S3_KEY: KEYS.key,
      },
      visionTaskFile: fileURLToPath(new URL('./troublesomeTask.ts', import.meta.url)),
    });
    const picture = await makePicture();
    const photo = await server.uploadPhoto(picture);
    expect((await server.measure(photo.id)).state).toBe('finished');
    const image = Buffer.from(await (await fetch(`${server.api}/photos/${photo.id}/image`)).arrayBuffer());
    expect(image.equals(picture)).toBe(true);
    expect(existsSync(join(server.dataFolder, 'photos'))).toBe(false);
    expect(await readdir(server.services.incomingFolder)).toEqual([]);

    stub.troubles.push(503, 503, 503);
    const refused = await server.upload('/photos', 'photo', picture);
    expect(refused.status).toBe(507);
    expect(await refused.json()).toMatchObject({ code: 'photo-store-unreachable' });
    // A job whose photo cannot be read says so, after others might have had better luck.
    stub.troubles.push(...Array<number>(9).fill(503));
    const job = await server.measure(photo.id);
    expect(job).toMatchObject({ state: 'failed', problem: { code: 'photo-store-unreachable' } });

    expect((await server.send('DELETE', `/photos/${photo.id}`)).status).toBe(204);
    expect(stub.objects.size).toBe(0);
    await server.stop();
  });

  it('needs its keys', () => {
    const environment = { SWATCH_GAUGE_S3_URL: stub.url, SWATCH_GAUGE_S3_KEY_ID: 'x' };
    expect(() => readConfig(environment)).toThrow(/SWATCH_GAUGE_S3_KEY is missing/);
  });
});
