/**
 * What runs inside a measuring process. Each task takes and returns plain data, so that it can cross over.
 */
import sharp from 'sharp';
import { isVisionError, type VisionError } from '../../vision/errors.ts';
import { hideReference } from '../../vision/hideReference.ts';
import type { Measurement, MeasureOptions, Stage } from '../../vision/measurement.ts';
import { bytesOf, type PhotoSource } from '../storage/photoSource.ts';
import { writeNewFile } from '../writeFileAtomically.ts';

export interface MeasureTask {
  kind: 'measure';
  photo: PhotoSource;
  options: MeasureOptions;
  /** More than one where no other photo is being measured. Default 1. */
  threads?: 1 | 2;
}
export interface NormaliseTask {
  kind: 'normalise';
  bytes: Uint8Array;
  maxPixels: number;
}
export interface OverlayTask {
  kind: 'overlay';
  photo: PhotoSource;
  measurement: Measurement;
}
export interface HideReferenceTask {
  kind: 'hide-reference';
  photo: PhotoSource;
  measurement: Measurement;
  /** Where to write the picture, a new file; null to answer with it. */
  path: string | null;
}
export interface WarmUpTask {
  kind: 'warm-up';
}
export type VisionTask = MeasureTask | NormaliseTask | OverlayTask | HideReferenceTask | WarmUpTask;

/** The photo as it is kept: an upright JPEG without metadata. */
export interface NormalisedPhoto {
  bytes: Uint8Array;
  widthPx: number;
  heightPx: number;
}

/** Quality of kept pictures that had to be encoded again; at 92 the stitches' edges keep their places. */
const KEPT_QUALITY = 92;
/** Largest side of a kept picture that had to be encoded again, px: half as much again as measuring looks at. */
const KEPT_SIDE_PX = 4500;

// One process uses one core: the pool has as many as there are cores to use.
sharp.concurrency(1);
sharp.cache(false);

/** An answer, or the photo's fault: an error object would lose its code and hint on the way between processes. */
export type VisionOutcome =
  | { ok: true; value: unknown }
  | { ok: false; fault: Pick<VisionError, 'code' | 'message' | 'hint' | 'reason'> | 'photo-replaced' };

/** Gets the name of each stage as it finishes. */
export type TellStage = (stage: Stage) => void;

export default async function runVisionTask(task: VisionTask, tellStage: TellStage): Promise<VisionOutcome> {
  try {
    const bytes = await photoOf(task);
    if (!bytes) return { ok: false, fault: 'photo-replaced' };
    return { ok: true, value: await run(task, bytes, tellStage) };
  } catch (error) {
    if (isVisionError(error)) {
      const { code, message, hint, reason } = error;
      return { ok: false, fault: { code, message, hint, reason } };
    }
    if (isBrokenEngine(error)) {
      // WebAssembly that aborted is no good for the next photo; a fresh process takes over.
      process.exit(70);
    }
    throw error instanceof Error ? error : new Error(`The image library gave up (${String(error)}).`);
  }
}

async function photoOf(task: VisionTask): Promise<Uint8Array | null> {
  if (task.kind === 'warm-up') {
    const blank = { width: 640, height: 480, channels: 3 as const, background: '#b4aa9f' };
    return await sharp({ create: blank }).jpeg().toBuffer();
  }
  return task.kind === 'normalise' ? task.bytes : await bytesOf(task.photo);
}

async function run(task: VisionTask, bytes: Uint8Array, onStage: TellStage): Promise<unknown> {
  switch (task.kind) {
    case 'measure': {
      const { useThreads } = await import('../../vision/network.ts');
      const threads = task.threads ?? 1;
      useThreads(threads);
      // A second thread makes the picture smaller while the first one decodes it.
      sharp.concurrency(threads);
      if (task.options.outline || task.options.cornersPx) {
        const { measurePiece } = await import('../../vision/piece/measurePiece.ts');
        return await measurePiece(bytes, task.options, { onStage });
      }
      const { measurePhoto } = await import('../../vision/measurePhoto.ts');
      return await measurePhoto(bytes, task.options, { onStage });
    }
    case 'normalise': {
      const { decodePhoto } = await import('../../vision/decode.ts');
      const { rgb } = await decodePhoto(bytes, { maxSidePx: KEPT_SIDE_PX, maxPixels: task.maxPixels });
      const kept = await sharp(rgb.data, { raw: { width: rgb.widthPx, height: rgb.heightPx, channels: 3 } })
        .jpeg({ quality: KEPT_QUALITY, chromaSubsampling: '4:4:4' })
        .toBuffer();
      return { bytes: kept, widthPx: rgb.widthPx, heightPx: rgb.heightPx } satisfies NormalisedPhoto;
    }
    case 'overlay': {
      const { drawOverlay } = await import('../../vision/drawOverlay.ts');
      return await drawOverlay(bytes, task.measurement);
    }
    case 'warm-up': {
      const { measurePhoto } = await import('../../vision/measurePhoto.ts');
      await measurePhoto(bytes, {});
      return null;
    }
    case 'hide-reference':
      return await handOver(await hideReference(bytes, task.measurement), task.path);
  }
}

/** @returns how many bytes were written, or the bytes */
async function handOver(bytes: Uint8Array, path: string | null): Promise<Uint8Array | number> {
  if (path === null) return bytes;
  await writeNewFile(path, bytes);
  return bytes.length;
}

function isBrokenEngine(error: unknown): boolean {
  const { name, message } = (error ?? {}) as { name?: string; message?: string };
  return name === 'RuntimeError' || /abort\(|out of memory|OOM/i.test(message ?? String(error));
}
