import { useEffect, useMemo, useState } from 'react';
import type { Sample } from '../../server/api/schemas.ts';
import { listSamples, sentenceOf } from '../lib/api.ts';
import { usePreferences } from '../lib/preferences.tsx';
import { text } from '../lib/text.ts';
import { FIRST_DRAFT, toSpec } from '../plan/draft.ts';
import { PlanForm } from '../plan/plan-form.tsx';
import { Instructions, PlanResult } from '../plan/plan-result.tsx';
import { usePlan, type Pick } from '../plan/use-plan.ts';
import { YarnTable } from '../plan/yarn-table.tsx';
import { GaugeSheet } from '../swatch/gauge-sheet.tsx';
import { useDroppedPhoto } from '../swatch/pick-photo.tsx';
import { SwatchBench } from '../swatch/swatch-bench.tsx';
import { gaugeInForce, type GaugeChoice } from '../swatch/gauge-choice.ts';
import { useMeasuring } from '../swatch/use-measuring.ts';

/** The whole job on one screen: photo, gauge, size, chain and yarn. A sample is being measured as it opens. */
export function StartScreen() {
  const { preferences } = usePreferences();
  const [measuring, actions] = useMeasuring();
  const [samples, setSamples] = useState<Sample[]>([]);
  const [wrong, setWrong] = useState<string | null>(null);
  const [draft, setDraft] = useState(FIRST_DRAFT);
  const [choice, setChoice] = useState<GaugeChoice>({ from: 'measurement' });
  const [pick, setPick] = useState<Pick>({});
  const over = useDroppedPhoto(actions.takeFile);

  const { takeSample } = actions;
  useEffect(() => {
    let gone = false;
    listSamples()
      .then((found) => {
        if (gone) return;
        setSamples(found);
        const first = found[0];
        if (first) takeSample(first.name);
      })
      .catch((error: unknown) => !gone && setWrong(sentenceOf(error)));
    return () => {
      gone = true;
    };
  }, [takeSample]);

  const measurement = measuring.job?.measurement ?? null;
  const gauge = useMemo(() => gaugeInForce(choice, measurement), [choice, measurement]);
  const spec = useMemo(() => gauge && toSpec(draft, gauge, preferences), [gauge, draft, preferences]);
  const planned = usePlan(spec, pick);
  const change = (next: typeof draft) => {
    setDraft(next);
    setPick({});
  };

  return (
    <>
      <h1 className="only-read">{text('app.name')}</h1>
      {over && <div className="drop-over">{text('photo.dropHere')}</div>}
      {wrong && (
        <p className="wrong" role="alert">
          {wrong}
        </p>
      )}
      <div className="bench">
        <SwatchBench measuring={measuring} actions={actions} samples={samples} />
        <GaugeSheet
          measuring={measuring}
          choice={choice}
          onChoose={setChoice}
          gauge={gauge}
          onStitch={(stitch) => {
            if (stitch) change({ ...draft, stitch, multiple: undefined });
            actions.measureAgain({ ...measuring.options, stitch: stitch ?? undefined });
          }}
        />
      </div>
      <div className="plan-bench">
        <section className="sheet" aria-labelledby="plan-heading">
          <h2 id="plan-heading">{text('plan.heading')}</h2>
          <PlanForm
            draft={draft}
            onChange={change}
            sizes={[]}
            counted={{
              stitches: measurement?.counted.stitches ? Math.round(measurement.counted.stitches.value) : null,
              rows: measurement?.counted.rows ? Math.round(measurement.counted.rows.value) : null,
            }}
          />
        </section>
        <section className="sheet" aria-labelledby="result-heading">
          <h2 id="result-heading">{text('result.heading')}</h2>
          {planned.plan ? (
            <>
              <PlanResult plan={planned.plan} ready={planned.ready} onPick={setPick} />
              <YarnTable plan={planned.plan} ready={planned.ready} />
              <Instructions plan={planned.plan} />
            </>
          ) : (
            <p className={spec ? 'wrong' : 'placeholder-figures'} role={spec ? 'alert' : undefined}>
              {planned.wrong}
            </p>
          )}
        </section>
      </div>
    </>
  );
}
