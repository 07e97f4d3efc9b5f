import type { ReactNode } from 'react';
import { measuringSheetUrl } from '../lib/api.ts';
import { text } from '../lib/text.ts';
import { Above, CloseEnough, FlatAndWhole, LightFromSide, NotThese, SamePlane } from './drawings.tsx';

/** How to take a photo that can be measured, with pictures. */
export function PhotoHelpScreen() {
  return (
    <>
      <div className="screen-head">
        <h1>{text('help.heading')}</h1>
      </div>
      <ol className="help-steps">
        <Step drawing={<SamePlane />} title={text('help.plane')} words={text('help.planeHow')} />
        <Step drawing={<FlatAndWhole />} title={text('help.flat')} words={text('help.flatHow')} />
        <Step drawing={<Above />} title={text('help.above')} words={text('help.aboveHow')} />
        <Step drawing={<CloseEnough />} title={text('help.close')} words={text('help.closeHow')} />
        <Step drawing={<LightFromSide />} title={text('help.light')} words={text('help.lightHow')} />
        <Step drawing={<NotThese />} title={text('help.card')} words={text('help.cardHow')} />
      </ol>
      <section className="sheet" aria-labelledby="sheet-heading">
        <h2 id="sheet-heading">{text('help.sheet')}</h2>
        <p>{text('help.sheetHow')}</p>
        <div className="line-up">
          <a className="button" href={measuringSheetUrl('a4')} download>
            {text('help.sheetA4')}
          </a>
          <a className="button" href={measuringSheetUrl('letter')} download>
            {text('help.sheetLetter')}
          </a>
        </div>
      </section>
    </>
  );
}

function Step({ drawing, title, words }: { drawing: ReactNode; title: string; words: string }) {
  return (
    <li className="sheet">
      {drawing}
      <h2>{title}</h2>
      <p>{words}</p>
    </li>
  );
}
