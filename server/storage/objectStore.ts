import { createHash, randomUUID } from 'node:crypto';
import { setTimeout as sleep } from 'node:timers/promises';
import type { ObjectStoreConfig } from '../config.ts';
import { PHOTO_KEY, type PhotoStore } from './photoStore.ts';
import { StorageError } from './storageError.ts';

/** Where photos lie in the bucket, which may hold other things too. */
const PREFIX = 'photos/';
const PATIENCE_MS = 30_000;
/** Waits before trying again: stores are away for a moment now and then. */
const PAUSES_MS = [200, 1000];
const PAGE = 500;

/**
 * Keeps photos in a bucket of an S3-compatible store, for servers that share no disk.
 *
 * An object is there whole or not at all: the store takes it when all bytes have come and their SHA-256 is the
 * announced one.
 *
 * @throws StorageError `photo-store-unreachable` when there is no such bucket, or it may not be used
 * @example
 * const photos = await openObjectStore({ url: 'https://objects.example/photos', region: 'eu', keyId, key });
 */
export async function openObjectStore({ url, region, keyId, key }: ObjectStoreConfig): Promise<PhotoStore> {
  const { S3mini, S3ServiceError } = await import('s3mini');
  const bucket = new S3mini({
    endpoint: url,
    region,
    accessKeyId: keyId,
    secretAccessKey: key,
    requestAbortTimeout: PATIENCE_MS,
  });
  /** Asks again when the store is away or overloaded, not when it refuses. */
  const ask = async <T>(request: () => Promise<T>): Promise<T> => {
    for (let attempt = 0; ; attempt++) {
      try {
        return await request();
      } catch (error) {
        const isRefusal = error instanceof S3ServiceError && error.status < 500 && error.status !== 429;
        const pause = PAUSES_MS[attempt];
        if (isRefusal || pause === undefined) {
          const detail = error instanceof S3ServiceError ? String(error.status) : 'no answer';
          throw new StorageError('photo-store-unreachable', { cause: error, detail });
        }
        await sleep(pause);
      }
    }
  };
  const pathOf = (photoKey: string): string => {
    if (!PHOTO_KEY.test(photoKey)) throw new Error(`not a photo key: ${photoKey}`);
    return `${PREFIX}${photoKey}`;
  };
  const page = (token?: string) => ask(() => bucket.listObjectsPaged('/', PREFIX, PAGE, token));

  if ((await page()) === null)
    throw new StorageError('photo-store-unreachable', { detail: 'no such bucket' });

  const get = async (photoKey: string): Promise<Uint8Array | null> => {
    const path = pathOf(photoKey);
    const bytes = await ask(() => bucket.getObjectArrayBuffer(path));
    return bytes ? new Uint8Array(bytes) : null;
  };

  const put = async (bytes: Uint8Array): Promise<string> => {
    const photoKey = randomUUID();
    const checksum = createHash('sha256').update(bytes).digest('base64');
    await ask(() =>
      bucket.putObject(pathOf(photoKey), bytes as never, 'image/jpeg', undefined, {
        'x-amz-checksum-sha256': checksum,
      }),
    );
    return photoKey;
  };
  return {
    put,
    async putMade(make) {
      const bytes = (await make(null)) as Uint8Array;
      return { key: await put(bytes), bytes: bytes.length };
    },
    get,
    async source(photoKey) {
      const bytes = await get(photoKey);
      return bytes && { bytes };
    },
    async remove(photoKey) {
      const path = pathOf(photoKey);
      await ask(() => bucket.deleteObject(path));
    },
    async *list() {
      let token: string | undefined;
      do {
        const found = await page(token);
        for (const { Key, LastModified } of found?.objects ?? []) {
          const photoKey = Key.slice(PREFIX.length);
          if (PHOTO_KEY.test(photoKey)) yield { key: photoKey, putAt: new Date(LastModified) };
        }
        token = found?.nextContinuationToken;
      } while (token);
    },
  };
}
