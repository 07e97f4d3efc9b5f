import { useCallback, useEffect, useRef, useState } from 'react';
import type { Piece, PiecePatch } from '../../server/api/schemas.ts';
import { ApiError, changePiece, sentenceOf } from '../lib/api.ts';

const SAVE_AFTER_MS = 600;

export interface AutoKeepOptions {
  /** What the piece should be from now on. */
  wanted: Omit<PiecePatch, 'revision'>;
  /** False while what is wanted is still changing by itself. */
  isSettled: boolean;
  onKept: (piece: Piece) => void;
}

/**
 * Keeps whatever is changed by itself, a moment after the last change.
 *
 * @param first the piece as it was opened
 * @returns how far keeping is; `wrong` is `stale` when the piece was changed elsewhere meanwhile
 */
export function useAutoKeep(first: Piece, { wanted, isSettled, onKept }: AutoKeepOptions) {
  const [saving, setSaving] = useState<'kept' | 'changed' | 'failed'>('kept');
  const [wrong, setWrong] = useState<string | null>(null);
  const keptRef = useRef<string | null>(null);
  const revisionRef = useRef(first.revision);
  const written = JSON.stringify(wanted);
  useEffect(() => {
    if (!isSettled) return;
    keptRef.current ??= written; // what was opened is kept already
    if (written === keptRef.current) return;
    setSaving('changed');
    const timer = setTimeout(() => {
      const patch = JSON.parse(written) as AutoKeepOptions['wanted'];
      changePiece(first.id, { ...patch, revision: revisionRef.current })
        .then((changed) => {
          revisionRef.current = changed.revision;
          keptRef.current = written;
          onKept(changed);
          setSaving('kept');
          setWrong(null);
        })
        .catch((error: unknown) => {
          setSaving('failed');
          setWrong(error instanceof ApiError && error.status === 409 ? 'stale' : sentenceOf(error));
        });
    }, SAVE_AFTER_MS);
    return () => clearTimeout(timer);
  }, [written, isSettled, first.id, onKept]);

  /** Someone else's change, known already: no reason to call it stale. */
  const knowRevision = useCallback((revision: number) => {
    revisionRef.current = revision;
  }, []);
  return { saving, wrong, setWrong, knowRevision };
}
