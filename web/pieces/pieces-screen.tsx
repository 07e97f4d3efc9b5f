import { useCallback, useEffect, useState } from 'react';
import type { PieceSummary } from '../../server/api/schemas.ts';
import { deletePiece, importPiece, listPieces, photoImageUrl, restorePiece, sentenceOf } from '../lib/api.ts';
import { formatDay } from '../lib/format.ts';
import { goTo, hrefOf } from '../lib/route.ts';
import { text } from '../lib/text.ts';
import { Wrong } from '../lib/wrong.tsx';
import { FileButton } from '../swatch/pick-photo.tsx';
import { SampleCard } from './sample-card.tsx';

/** The pieces kept so far; deleting can be undone. */
export function PiecesScreen() {
  const [pieces, setPieces] = useState<PieceSummary[] | null>(null);
  const [deleted, setDeleted] = useState<PieceSummary[]>([]);
  const [wrong, setWrong] = useState<string | null>(null);

  const load = useCallback(async () => {
    try {
      const [kept, gone] = await Promise.all([listPieces(), listPieces(true)]);
      setPieces(kept);
      setDeleted(gone);
    } catch (error) {
      setWrong(sentenceOf(error));
    }
  }, []);
  useEffect(() => void load(), [load]);

  const attempt = async (act: () => Promise<unknown>) => {
    setWrong(null);
    try {
      await act();
    } catch (error) {
      setWrong(sentenceOf(error));
    }
    await load();
  };
  const bringIn = async (file: File) => {
    setWrong(null);
    try {
      const piece = await importPiece(file);
      goTo({ screen: 'piece', pieceId: piece.id, part: 'plan' });
    } catch (error) {
      setWrong(sentenceOf(error));
    }
  };

  return (
    <>
      <div className="screen-head">
        <h1>{text('pieces.heading')}</h1>
        <a className="button button-main" href="#/">
          {text('pieces.fresh')}
        </a>
        <FileButton
          label={text('pieces.import')}
          accept=".zip,application/zip"
          onFile={(file) => void bringIn(file)}
        />
      </div>
      <Wrong what={wrong} />
      {pieces === null && !wrong && <p>{text('app.reading')}</p>}
      {pieces?.length === 0 && (
        <div className="none-kept">
          <div className="empty">
            <p>
              <strong>{text('pieces.none')}</strong>
            </p>
            <p>{text('pieces.noneHow')}</p>
          </div>
          <SampleCard />
        </div>
      )}
      {pieces && pieces.length > 0 && (
        <ul className="piece-cards">
          {pieces.map((piece) => (
            <li key={piece.id} className="sheet piece-card-sheet">
              {piece.photoId ? (
                <img src={photoImageUrl(piece.photoId, 480)} alt="" loading="lazy" />
              ) : (
                <div className="piece-card-blank" />
              )}
              <h2>
                <a href={hrefOf({ screen: 'piece', pieceId: piece.id, part: 'plan' })}>{piece.name}</a>
              </h2>
              <p className="field-help">
                {text('pieces.changed', { day: formatDay(piece.updatedAt) })}{' '}
                {piece.checkCount > 0 && text('pieces.checks', { n: piece.checkCount })}
              </p>
              <button
                type="button"
                className="button button-quiet"
                aria-label={text('pieces.deleteNamed', { name: piece.name })}
                onClick={() => void attempt(() => deletePiece(piece.id))}
              >
                {text('pieces.delete')}
              </button>
            </li>
          ))}
        </ul>
      )}
      {deleted.length > 0 && (
        <section className="sheet" aria-labelledby="deleted-heading">
          <h2 id="deleted-heading">{text('pieces.deleted')}</h2>
          <ul className="plain-list">
            {deleted.map((piece) => (
              <li key={piece.id} className="line-up line-up-middle">
                <span>{piece.name}</span>
                <button
                  type="button"
                  className="button"
                  aria-label={text('pieces.restoreNamed', { name: piece.name })}
                  onClick={() => void attempt(() => restorePiece(piece.id))}
                >
                  {text('pieces.restore')}
                </button>
              </li>
            ))}
          </ul>
        </section>
      )}
    </>
  );
}
