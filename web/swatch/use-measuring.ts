import { useCallback, useEffect, useMemo, useRef, useState } from 'react';
import type { MeasurementJob, Photo } from '../../server/api/schemas.ts';
import type { MeasureOptions } from '../../vision/measurement.ts';
import { copySample, measure, photoImageUrl, sampleImageUrl, sendPhoto, sentenceOf } from '../lib/api.ts';
import { text } from '../lib/text.ts';
import { referenceDoubt, type ReferenceDoubt } from './reference-doubt.ts';

/** The width asked of the server: sharp on a large screen when zoomed in, yet quick on a phone. */
const SHOWN_WIDTH_PX = 2048;

export interface ShownPhoto {
  /** null while it is still being sent. */
  id: string | null;
  widthPx: number;
  heightPx: number;
  src: string;
  isSample: boolean;
}

export interface Measuring {
  phase: 'idle' | 'sending' | 'measuring' | 'done' | 'failed' | 'stopped';
  photo: ShownPhoto | null;
  job: MeasurementJob | null;
  /** How the last measurement was asked for; the next one keeps what is not changed. */
  options: MeasureOptions;
  wrong: string | null;
  /** What is doubtful about the reference, until she has said that it is right. */
  doubt: ReferenceDoubt | null;
}

export interface MeasuringActions {
  takeFile: (file: Blob) => void;
  takeSample: (name: string) => void;
  /**
   * A photo the server has already, with its finished measurement when there is one.
   *
   * @param isConfirmed whether its reference was found right before
   */
  takeKept: (photo: Photo, job: MeasurementJob | null, isConfirmed: boolean) => void;
  /** The outlined reference is what it was taken for. */
  confirmReference: () => void;
  measureAgain: (options: MeasureOptions) => void;
  stop: () => void;
}

interface State extends Omit<Measuring, 'doubt'> {
  /** The job whose reference she found right. */
  confirmed: string | null;
}

const NO_OPTIONS: MeasureOptions = {};
const NOTHING: State = { phase: 'idle', photo: null, job: null, options: {}, wrong: null, confirmed: null };

/**
 * One photo on its way to a gauge. A new photo, or new options, replace whatever was under way.
 *
 * @param always options that every new photo is measured with; the same object for good
 */
export function useMeasuring(always: MeasureOptions = NO_OPTIONS): [Measuring, MeasuringActions] {
  const [state, setState] = useState<State>(NOTHING);
  const running = useRef<AbortController | null>(null);
  const ownUrl = useRef<string | null>(null);

  const begin = useCallback(() => {
    running.current?.abort();
    const controller = new AbortController();
    running.current = controller;
    return controller.signal;
  }, []);

  useEffect(
    () => () => {
      running.current?.abort();
      if (ownUrl.current) URL.revokeObjectURL(ownUrl.current);
    },
    [],
  );

  const fail = useCallback((error: unknown, signal: AbortSignal) => {
    if (signal.aborted) return; // Replaced or stopped: whoever did that has set the state.
    setState((before) => ({ ...before, phase: 'failed', wrong: sentenceOf(error) }));
  }, []);

  const run = useCallback(
    async (photoId: string, options: MeasureOptions, signal: AbortSignal, asked?: MeasurementJob | null) => {
      if (!signal.aborted)
        setState((before) => ({ ...before, phase: 'measuring', job: asked ?? null, options, wrong: null }));
      const job = await measure(
        photoId,
        options,
        (progress) => {
          if (!signal.aborted) setState((before) => ({ ...before, job: progress }));
        },
        signal,
        asked,
      );
      if (!signal.aborted)
        setState((before) => ({ ...before, phase: job.state === 'finished' ? 'done' : 'stopped', job }));
    },
    [],
  );

  const takeFile = useCallback(
    (file: Blob) => {
      const signal = begin();
      if (ownUrl.current) URL.revokeObjectURL(ownUrl.current);
      const src = URL.createObjectURL(file);
      ownUrl.current = src;
      // On its way before anything else is done with it: measuring is what she waits for.
      const sent = sendPhoto(file, always, signal);
      sent.catch(() => undefined); // told below, once the photo is on the screen
      void (async () => {
        const size = await sizeOf(src);
        if (!signal.aborted)
          setState({
            ...NOTHING,
            phase: 'sending',
            photo: { id: null, isSample: false, src, ...(size ?? { widthPx: 4, heightPx: 3 }) },
          });
        const { measurement, ...photo } = await sent;
        if (!signal.aborted)
          setState((before) => ({
            ...before,
            photo: {
              id: photo.id,
              widthPx: photo.widthPx,
              heightPx: photo.heightPx,
              isSample: false,
              // The browser may not be able to draw it (HEIC): the server's picture can always be drawn.
              src: size ? src : photoImageUrl(photo.id, SHOWN_WIDTH_PX),
            },
          }));
        await run(photo.id, always, signal, measurement);
      })().catch((error: unknown) => fail(error, signal));
    },
    [begin, run, fail, always],
  );

  const takeSample = useCallback(
    (name: string) => {
      const signal = begin();
      const src = sampleImageUrl(name, SHOWN_WIDTH_PX);
      setState({
        ...NOTHING,
        phase: 'sending',
        photo: { id: null, isSample: true, src, widthPx: 4, heightPx: 3 },
      });
      void (async () => {
        const { measurement, ...photo } = await copySample(name, always);
        if (signal.aborted) return;
        setState((before) => ({
          ...before,
          photo: { id: photo.id, isSample: true, src, widthPx: photo.widthPx, heightPx: photo.heightPx },
        }));
        await run(photo.id, always, signal, measurement);
      })().catch((error: unknown) => fail(error, signal));
    },
    [begin, run, fail, always],
  );

  const takeKept = useCallback(
    (photo: Photo, job: MeasurementJob | null, isConfirmed: boolean) => {
      const signal = begin();
      setState({
        ...NOTHING,
        phase: job?.state === 'finished' ? 'done' : 'stopped',
        photo: {
          id: photo.id,
          widthPx: photo.widthPx,
          heightPx: photo.heightPx,
          isSample: photo.sample !== null,
          src: photoImageUrl(photo.id, SHOWN_WIDTH_PX),
        },
        job,
        options: job?.options ?? {},
        confirmed: isConfirmed && job ? job.id : null,
      });
      if (!job) void run(photo.id, always, signal).catch((error: unknown) => fail(error, signal));
    },
    [begin, run, fail, always],
  );

  // Read through a ref, so that the actions stay the same ones for good and effects may depend on them.
  const stateRef = useRef(state);
  stateRef.current = state;
  const measureAgain = useCallback(
    (options: MeasureOptions) => {
      const last = stateRef.current;
      if (!last.photo?.id) return;
      const signal = begin();
      void run(last.photo.id, options, signal).catch((error: unknown) => {
        fail(error, signal);
        // A correction that cannot be used costs nothing: what was read before it is there again.
        if (!signal.aborted && last.job?.state === 'finished')
          setState((before) => ({ ...before, phase: 'done', job: last.job, options: last.options }));
      });
    },
    [begin, run, fail],
  );

  const stop = useCallback(() => {
    running.current?.abort();
    setState((before) => ({ ...before, phase: 'stopped', wrong: text('stage.cancelled') }));
  }, []);

  const confirmReference = useCallback(
    () => setState((before) => ({ ...before, confirmed: before.job?.id ?? null })),
    [],
  );

  const actions = useMemo(
    () => ({ takeFile, takeSample, takeKept, confirmReference, measureAgain, stop }),
    [takeFile, takeSample, takeKept, confirmReference, measureAgain, stop],
  );
  const measuring = useMemo((): Measuring => {
    const { confirmed, ...shown } = state;
    const isConfirmed = shown.job !== null && shown.job.id === confirmed;
    return { ...shown, doubt: isConfirmed ? null : referenceDoubt(shown.job?.measurement ?? null) };
  }, [state]);
  return [measuring, actions];
}

/** The upright size of a picture the browser can draw, else null. */
function sizeOf(src: string): Promise<{ widthPx: number; heightPx: number } | null> {
  return new Promise((resolve) => {
    const image = new Image();
    image.onload = () => resolve({ widthPx: image.naturalWidth, heightPx: image.naturalHeight });
    image.onerror = () => resolve(null);
    image.src = src;
  });
}
