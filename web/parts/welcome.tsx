import { useState } from 'react';
import { text } from '../lib/text.ts';
import { FileButton } from '../swatch/pick-photo.tsx';

const KEY = 'swatch-gauge.welcome';

/** Said once: what the sample on the screen shows, and what to do with one's own swatch. */
export function Welcome({ onFile }: { onFile: (file: Blob) => void }) {
  const [open, setOpen] = useState(() => localStorage.getItem(KEY) !== 'read');
  if (!open) return null;
  return (
    <section className="welcome" aria-label={text('welcome.label')}>
      <ol>
        <li>{text('welcome.one')}</li>
        <li>{text('welcome.two')}</li>
        <li>{text('welcome.three')}</li>
      </ol>
      <div className="welcome-links">
        <FileButton className="button-main" label={text('welcome.own')} onFile={onFile} />
        <a href="#/photo-help">{text('welcome.photoHelp')}</a>
        <button
          type="button"
          className="button"
          onClick={() => {
            localStorage.setItem(KEY, 'read');
            setOpen(false);
          }}
        >
          {text('welcome.close')}
        </button>
      </div>
    </section>
  );
}
