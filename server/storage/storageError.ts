/** Reasons that storing can fail for, each with what the person at the machine can do. */
const REASONS = {
  'data-folder-read-only': 'Nothing can be written to the data folder. Make it writable, or choose another.',
  'disk-full': 'The disk that holds the data folder is full. Free some space and try again.',
  'data-in-use': 'Another copy of this program is using the data folder. Close it first, or choose another.',
  'data-newer':
    'This data was written by a newer version of the program. Nothing was changed; please run that version.',
  'photo-store-unreachable': 'The store that keeps the photos cannot be used at the moment.',
  'photo-quota': 'There is no room for more photos here. Delete pieces that are no longer needed.',
} as const;
export type StorageErrorCode = keyof typeof REASONS;

/** Storing failed for a reason outside the program; nothing was half-written. */
export class StorageError extends Error {
  readonly code: StorageErrorCode;

  constructor(code: StorageErrorCode, options?: { cause?: unknown; detail?: string }) {
    super(options?.detail ? `${REASONS[code]} (${options.detail})` : REASONS[code], options);
    this.name = 'StorageError';
    this.code = code;
  }
}

/** Turns what the file system or the database says about full and read-only disks into a StorageError. */
export function asStorageError(error: unknown): unknown {
  const { code, message } = (error ?? {}) as { code?: string; message?: string };
  if (code === 'ENOSPC' || code === 'EDQUOT' || code === '53100' || /no space left/i.test(message ?? '')) {
    return new StorageError('disk-full', { cause: error });
  }
  if (code === 'EROFS' || code === 'EACCES' || code === 'EPERM' || code === '25006') {
    return new StorageError('data-folder-read-only', { cause: error });
  }
  return error;
}
