import { photoImageUrl } from '../lib/api.ts';
import { text } from '../lib/text.ts';
import type { PartPhoto } from './check-facts.ts';

/** Photos of other parts of the piece, and the way to add one. */
export function OtherParts({
  parts,
  onLeaveOut,
  onAnother,
}: {
  parts: PartPhoto[];
  onLeaveOut: (photoId: string) => void;
  onAnother: ((file: File) => void) | null;
}) {
  if (parts.length === 0 && !onAnother) return null;
  return (
    <section className="sheet">
      <p className="field-help">{text('check.anotherHow')}</p>
      {parts.length > 0 && (
        <ul className="piece-cards">
          {parts.map(({ photoId, fromRow, toRow }, i) => (
            <li key={photoId} className="history-card">
              <img src={photoImageUrl(photoId, 480)} alt="" />
              <p>
                {text('check.part', {
                  n: i + 1,
                  rows:
                    fromRow !== null && toRow !== null
                      ? text('check.partRows', { from: fromRow, to: toRow })
                      : text('check.partUnsaid'),
                })}
              </p>
              <button type="button" className="button button-quiet" onClick={() => onLeaveOut(photoId)}>
                {text('check.partAway', { n: i + 1 })}
              </button>
            </li>
          ))}
        </ul>
      )}
      {onAnother && (
        <label className="button">
          {text('check.another')}
          <input
            type="file"
            accept="image/*,.heic,.heif"
            className="only-read"
            onChange={(event) => {
              const file = event.currentTarget.files?.[0];
              event.currentTarget.value = '';
              if (file) onAnother(file);
            }}
          />
        </label>
      )}
    </section>
  );
}
