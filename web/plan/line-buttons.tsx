import { text } from '../lib/text.ts';

/** Moves a line of a list up, or takes it out; either is left out where it cannot be done. */
export function LineButtons({
  name,
  onUp,
  onRemove,
}: {
  name: string;
  onUp?: () => void;
  onRemove?: () => void;
}) {
  const shown = [
    { key: 'up', label: text('layout.up', { what: name }), drawing: 'M3 9l5-5 5 5M8 4v9', act: onUp },
    {
      key: 'remove',
      label: text('layout.remove', { what: name }),
      drawing: 'M3 3l10 10M13 3L3 13',
      act: onRemove,
    },
  ];
  return (
    <span className="line-buttons">
      {shown.map(
        ({ key, label, drawing, act }) =>
          act && (
            <button
              key={key}
              type="button"
              className="button button-quiet colour-remove"
              aria-label={label}
              onClick={act}
            >
              <svg viewBox="0 0 16 16" aria-hidden="true">
                <path d={drawing} />
              </svg>
            </button>
          ),
      )}
    </span>
  );
}
