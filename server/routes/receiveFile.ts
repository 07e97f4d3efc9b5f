import { readFile, rm } from 'node:fs/promises';
import type { Request, RequestHandler } from 'express';
import multer from 'multer';
import { ProblemError, type ProblemCode } from '../api/problem.ts';
import { lookAtQueue } from '../jobs/lookAtQueue.ts';
import { tooBusy } from '../jobs/refuseWhenBusy.ts';
import type { Services } from '../services.ts';
import { asStorageError } from '../storage/storageError.ts';

/** Uploads that may be under way at once in one process: more would only make all of them, and pages, slower. */
const MOST_UPLOADS = 16;

/** Bytes of the one uploaded file, read once and removed from the incoming folder whatever happens. */
export type ReadUpload = (req: Request) => Promise<Uint8Array>;

/**
 * Receives one file of a multipart request into the incoming folder (never into memory while it arrives).
 *
 * @param field name of the form field that carries the file
 * @returns middleware, and a reader for the route behind it
 */
export function receiveFile(
  services: Services,
  options: { field: string; largestBytes: number; tooLarge: ProblemCode; missing: ProblemCode },
): { receive: RequestHandler; read: ReadUpload } {
  const upload = multer({
    dest: services.incomingFolder,
    limits: {
      fileSize: options.largestBytes,
      files: 1,
      fields: 4,
      fieldSize: 1000,
      fieldNameSize: 100,
      parts: 6,
      headerPairs: 20,
    },
  }).single(options.field);
  const { uploadsBusy } = services.metrics;
  let busy = 0;

  const receive: RequestHandler = async (req, res, next) => {
    const announced = Number(req.get('content-length') ?? 0);
    if (announced > options.largestBytes + 10_000) {
      throw new ProblemError(options.tooLarge);
    }
    if (busy >= MOST_UPLOADS) {
      throw tooBusy(services, await lookAtQueue(services));
    }
    busy++;
    uploadsBusy.inc();
    res.once('close', () => {
      busy--;
      uploadsBusy.dec();
      if (req.file?.path) rm(req.file.path, { force: true }).catch(() => {});
    });
    upload(req, res, (error: unknown) => {
      if (!error) return next();
      // Anything else that goes wrong while parsing is a malformed request.
      const isTooLarge = (error as { code?: string }).code === 'LIMIT_FILE_SIZE';
      const isDisk = typeof (error as NodeJS.ErrnoException).errno === 'number';
      next(
        isDisk ? asStorageError(error) : new ProblemError(isTooLarge ? options.tooLarge : options.missing),
      );
    });
  };

  const read: ReadUpload = async (req) => {
    if (!req.file) throw new ProblemError(options.missing);
    try {
      return await readFile(req.file.path);
    } finally {
      await rm(req.file.path, { force: true });
    }
  };
  return { receive, read };
}
