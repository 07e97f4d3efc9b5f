import { useState } from 'react';
import type { Plan, ReadyPlanSpec } from '../../calc/index.ts';
import { sentenceOf } from '../lib/api.ts';
import { usePreferences } from '../lib/preferences.tsx';
import { fileNameFrom, saveFile } from '../lib/save-file.ts';
import { text } from '../lib/text.ts';
import { Wrong } from '../lib/wrong.tsx';

export interface SavePlanPdfProps {
  name: string;
  plan: Plan;
  ready: ReadyPlanSpec;
}

/** Makes the plan into a PDF file here in the page. What writes it is fetched only when it is asked for. */
export function SavePlanPdf({ name, plan, ready }: SavePlanPdfProps) {
  const { lengths, paper } = usePreferences().preferences;
  const [isBusy, setIsBusy] = useState(false);
  const [wrong, setWrong] = useState<string | null>(null);
  const save = async () => {
    setIsBusy(true);
    setWrong(null);
    try {
      const { makePlanPdfInBrowser } = await import('../paper/plan-pdf-in-browser.ts');
      const bytes = await makePlanPdfInBrowser({ name, plan, ready, lengths, paper });
      saveFile(bytes, { name: `${fileNameFrom(name, text('result.heading'))}.pdf`, type: 'application/pdf' });
    } catch (error) {
      setWrong(sentenceOf(error));
    }
    setIsBusy(false);
  };
  return (
    <>
      <button type="button" className="button" disabled={isBusy} onClick={() => void save()}>
        {text(isBusy ? 'out.pdfMaking' : 'out.pdf')}
      </button>
      <Wrong what={wrong} />
    </>
  );
}
