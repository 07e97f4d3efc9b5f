import { useId } from 'react';
import { exportUrl, rowsCsvUrl, yarnCsvUrl } from '../lib/api.ts';
import type { PiecePart } from '../lib/route.ts';
import { text } from '../lib/text.ts';
import type { Planned } from '../plan/use-plan.ts';
import { PhoneLink } from './phone-link.tsx';
import { PrintPlan } from './print-plan.tsx';
import { SavePlanPdf } from './save-plan-pdf.tsx';

export interface TakeAlongProps {
  pieceId: string;
  part: PiecePart;
  name: string;
  planned: Planned;
  onDelete: () => void;
}

/** The piece on paper, as tables, as a file, on the phone; and the way to be rid of it. */
export function TakeAlong({ pieceId, part, name, planned, onDelete }: TakeAlongProps) {
  const id = useId();
  return (
    <section className="sheet no-print piece-out" aria-labelledby={id}>
      <h2 id={id}>{text('out.heading')}</h2>
      <PrintPlan pieceId={pieceId} part={part}>
        {planned.plan && <SavePlanPdf name={name} plan={planned.plan} ready={planned.ready} />}
      </PrintPlan>
      <div className="line-up">
        <a className="button" href={rowsCsvUrl(pieceId)} download>
          {text('out.rows')}
        </a>
        <a className="button" href={yarnCsvUrl(pieceId)} download>
          {text('out.yarn')}
        </a>
        <a className="button" href={exportUrl(pieceId)} download>
          {text('out.file')}
        </a>
      </div>
      <PhoneLink pieceId={pieceId} />
      <div>
        <button type="button" className="button button-quiet" onClick={onDelete}>
          {text('piece.delete')}
        </button>
        <p className="field-help">{text('piece.deleteHow')}</p>
      </div>
    </section>
  );
}
