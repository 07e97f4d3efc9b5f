import type { MeasureOptions } from '../../vision/measurement.ts';
import type {
  AdmittedPhoto,
  Check,
  CheckCreate,
  MeasurementJob,
  Pairing,
  Photo,
  Piece,
  PieceCreate,
  PiecePatch,
  PieceSummary,
  Problem,
  Sample,
  Session,
} from '../../server/api/schemas.ts';
import { hasText, text } from './text.ts';

const BASE = '/api/v1';

/** What the server said went wrong, in words a maker can act on. */
export class ApiError extends Error {
  readonly status: number;
  readonly code: string;
  readonly hint: string | undefined;
  readonly reason: Problem['reason'];
  constructor(problem: Pick<Problem, 'title' | 'status' | 'code' | 'detail' | 'hint' | 'reason'>) {
    super(problem.detail ?? problem.title);
    this.name = 'ApiError';
    this.status = problem.status;
    this.code = problem.code;
    this.hint = problem.hint;
    this.reason = problem.reason;
  }
}

/** Sent to the window when the server says that nobody is signed in. */
export const SIGNED_OUT = 'signed-out';

/** Turns anything thrown into a sentence: the catalogue's for its reason or code, else the server's own words. */
export function sentenceOf(error: unknown): string {
  if (error instanceof ApiError) {
    const { code, reason } = error;
    const exactly = `problem.${code}.${reason?.code}`;
    if (reason && hasText(exactly)) return text(exactly, reason.values);
    const key = `problem.${code}`;
    if (hasText(key)) return text(key);
    return error.hint ? `${error.message} ${error.hint}` : error.message;
  }
  return text('error.unreachable');
}

async function call<T>(path: string, init: RequestInit = {}): Promise<T> {
  const headers = new Headers(init.headers);
  if (init.method && init.method !== 'GET') headers.set('X-Swatch-Gauge', '1');
  if (typeof init.body === 'string') headers.set('Content-Type', 'application/json');
  const response = await fetch(`${BASE}${path}`, { ...init, headers });
  if (response.status === 401) dispatchEvent(new Event(SIGNED_OUT));
  if (!response.ok) {
    let problem: Partial<Problem> = {};
    try {
      problem = (await response.json()) as Problem;
    } catch {
      // Not a problem document (a proxy's page, perhaps): the status has to do.
    }
    throw new ApiError({
      title: problem.title ?? text('error.unexpected', { n: response.status }),
      status: response.status,
      code: problem.code ?? 'unexpected',
      detail: problem.detail,
      hint: problem.hint,
      reason: problem.reason,
    });
  }
  if (response.status === 204) return undefined as T;
  return (await response.json()) as T;
}

const sending = (method: string, body?: unknown): RequestInit => ({
  method,
  ...(body === undefined ? {} : { body: JSON.stringify(body) }),
});

export const getSession = () => call<Session>('/session');
export const createAccount = (entry: { name: string; password: string; invitation: string }) =>
  call<{ name: string }>('/account', sending('POST', entry));
export const signIn = (entry: { name: string; password: string }) =>
  call<{ name: string }>('/sign-in', sending('POST', entry));
export const signOut = () => call<void>('/sign-out', sending('POST'));
export const changePassword = (password: string, newPassword: string) =>
  call<void>('/account', sending('PATCH', { password, newPassword }));
export const deleteAccount = (password: string) => call<void>('/account', sending('DELETE', { password }));
export const listSamples = () => call<Sample[]>('/samples');
/** One's own copy of a sample, with its measurement: a new one, or the one it has already. */
export const copySample = (name: string, measure: MeasureOptions = {}) =>
  call<AdmittedPhoto>(`/samples/${encodeURIComponent(name)}/photo`, sending('POST', { measure }));
export const getPhoto = (id: string) => call<Photo>(`/photos/${id}`);
export const sampleImageUrl = (name: string, widthPx: number) =>
  `${BASE}/samples/${encodeURIComponent(name)}/image?widthPx=${widthPx}`;
export const photoImageUrl = (id: string, widthPx: number) => `${BASE}/photos/${id}/image?widthPx=${widthPx}`;

/**
 * Sends a photo, to be measured as soon as it is there; the server decodes it whatever kind it is, and answers with
 * its upright size.
 */
export function sendPhoto(file: Blob, options: MeasureOptions, signal?: AbortSignal): Promise<AdmittedPhoto> {
  const form = new FormData();
  form.append('measure', JSON.stringify(options));
  form.append('photo', file, file instanceof File ? file.name : 'photo');
  return call<AdmittedPhoto>('/photos', { method: 'POST', body: form, signal });
}

export const cancelMeasurement = (id: string) =>
  call<MeasurementJob>(`/measurements/${id}`, sending('DELETE'));
export const getMeasurement = (id: string) => call<MeasurementJob>(`/measurements/${id}`);

const isOver = (job: MeasurementJob) => job.state !== 'queued' && job.state !== 'running';

/**
 * Asks for a measurement and follows it to its end.
 *
 * @param asked the job, where it was asked for already.
 * @param onProgress called with the job as its stages finish.
 * @throws ApiError when the request is refused or the job fails; `AbortError` when `signal` is aborted.
 */
export async function measure(
  photoId: string,
  options: MeasureOptions,
  onProgress: (job: MeasurementJob) => void,
  signal: AbortSignal,
  asked?: MeasurementJob | null,
): Promise<MeasurementJob> {
  const job =
    asked ??
    (await call<MeasurementJob>('/measurements', { ...sending('POST', { photoId, options }), signal }));
  onProgress(job);
  const last = isOver(job) ? job : await follow(job.id, onProgress, signal);
  if (last.state === 'failed' && last.problem) throw new ApiError(last.problem);
  return last;
}

function follow(
  id: string,
  onProgress: (job: MeasurementJob) => void,
  signal: AbortSignal,
): Promise<MeasurementJob> {
  return new Promise((resolve, reject) => {
    const events = new EventSource(`${BASE}/measurements/${id}/events`);
    const stop = () => {
      events.close();
      signal.removeEventListener('abort', onAbort);
    };
    const onAbort = () => {
      stop();
      void cancelMeasurement(id).catch(() => undefined); // Already over, or gone: nothing left to cancel.
      reject(new DOMException('cancelled', 'AbortError'));
    };
    signal.addEventListener('abort', onAbort);
    if (signal.aborted) return onAbort();
    events.addEventListener('job', (event) => {
      const job = JSON.parse((event as MessageEvent<string>).data) as MeasurementJob;
      onProgress(job);
      if (isOver(job)) {
        stop();
        resolve(job);
      }
    });
    events.addEventListener('error', () => {
      // The stream broke: ask until there is an answer.
      stop();
      void poll(id, onProgress, signal).then(resolve, reject);
    });
  });
}

async function poll(
  id: string,
  onProgress: (job: MeasurementJob) => void,
  signal: AbortSignal,
): Promise<MeasurementJob> {
  for (;;) {
    signal.throwIfAborted();
    const job = await getMeasurement(id);
    onProgress(job);
    if (isOver(job)) return job;
    await new Promise((resolve) => setTimeout(resolve, 400));
  }
}

export const listPieces = (deleted = false) =>
  call<PieceSummary[]>(`/pieces${deleted ? '?deleted=true' : ''}`);
export const createPiece = (piece: PieceCreate) => call<Piece>('/pieces', sending('POST', piece));
export const getPiece = (id: string) => call<Piece>(`/pieces/${id}`);
export const changePiece = (id: string, patch: PiecePatch) =>
  call<Piece>(`/pieces/${id}`, sending('PATCH', patch));
export const deletePiece = (id: string) => call<PieceSummary>(`/pieces/${id}`, sending('DELETE'));
export const restorePiece = (id: string) => call<Piece>(`/pieces/${id}/restore`, sending('POST'));
export const addCheck = (pieceId: string, check: CheckCreate) =>
  call<Check>(`/pieces/${pieceId}/checks`, sending('POST', check));
export const deleteCheck = (pieceId: string, checkId: string) =>
  call<Check>(`/pieces/${pieceId}/checks/${checkId}`, sending('DELETE'));
export const restoreCheck = (pieceId: string, checkId: string) =>
  call<Check>(`/pieces/${pieceId}/checks/${checkId}/restore`, sending('POST'));
export const rowsCsvUrl = (id: string) => `${BASE}/pieces/${id}/rows.csv`;
export const yarnCsvUrl = (id: string) => `${BASE}/pieces/${id}/yarn.csv`;
export const exportUrl = (id: string) => `${BASE}/pieces/${id}/export`;
export const measuringSheetUrl = (page: 'a4' | 'letter') => `${BASE}/measuring-sheet.pdf?page=${page}`;
export const createPairing = (pieceId: string | null) =>
  call<Pairing>('/pairings', sending('POST', { pieceId }));
export const redeemPairing = (code: string) =>
  call<{ pieceId: string | null }>('/pairings/redeem', sending('POST', { code }));

/** Brings in a piece that was exported here or on another machine. */
export function importPiece(file: Blob): Promise<Piece> {
  const form = new FormData();
  form.append('piece', file, file instanceof File ? file.name : 'piece.zip');
  return call<Piece>('/pieces/import', { method: 'POST', body: form });
}
