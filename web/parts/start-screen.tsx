import { useEffect, useId, useState } from 'react';
import type { Sample } from '../../server/api/schemas.ts';
import { createPiece, listSamples, sentenceOf } from '../lib/api.ts';
import { usePreferences } from '../lib/preferences.tsx';
import { goTo } from '../lib/route.ts';
import { text } from '../lib/text.ts';
import { Wrong } from '../lib/wrong.tsx';
import { AnswerSheet } from '../plan/answer-sheet.tsx';
import { FIRST_DRAFT } from '../plan/draft.ts';
import { PlanForm } from '../plan/plan-form.tsx';
import { PlanSheet } from '../plan/plan-sheet.tsx';
import { YarnTable } from '../plan/yarn-table.tsx';
import { GaugeSheet } from '../swatch/gauge-sheet.tsx';
import { useDroppedPhoto } from '../swatch/pick-photo.tsx';
import { SwatchBench } from '../swatch/swatch-bench.tsx';
import { AskStitch } from './ask-stitch.tsx';
import { swatchOf } from './swatch-of.ts';
import { useWork, type Work } from './use-work.ts';
import { Welcome } from './welcome.tsx';

/** The whole job on one screen: photo, gauge, size, chain and yarn. A sample is being measured as it opens. */
export function StartScreen() {
  const work = useWork(FIRST_DRAFT);
  const { measuring, actions, planned } = work;
  const [samples, setSamples] = useState<Sample[] | null>(null);
  const [wrong, setWrong] = useState<string | null>(null);
  const over = useDroppedPhoto(actions.takeFile);

  // What explains the sample would only be in the way of her own swatch.
  const isHerOwn = measuring.photo !== null && !measuring.photo.isSample;

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
      .catch((error: unknown) => {
        if (gone) return;
        setSamples([]);
        setWrong(sentenceOf(error));
      });
    return () => {
      gone = true;
    };
  }, [takeSample]);

  return (
    <>
      <h1 className="only-read">{text('app.name')}</h1>
      {over && <div className="drop-over">{text('photo.dropHere')}</div>}
      <Wrong what={wrong} />
      {!isHerOwn && <Welcome onFile={actions.takeFile} />}
      <div className="bench">
        <SwatchBench
          measuring={measuring}
          actions={actions}
          samples={isHerOwn && measuring.phase !== 'failed' ? [] : samples}
          question={<AskStitch work={work} />}
        />
        <div className="bench-side">
          <GaugeSheet
            measuring={measuring}
            choice={work.choice}
            onChoose={work.setChoice}
            gauge={work.gauge}
            onStitch={work.onStitch}
            isStitchAsked={work.isStitchAsked}
            onMeasure={actions.measureAgain}
          />
          <AnswerSheet work={work} />
        </div>
      </div>
      <div className="plan-bench">
        <section className="sheet" aria-labelledby="choices-heading">
          <h2 id="choices-heading">{text('plan.choices')}</h2>
          <PlanForm draft={work.draft} onChange={work.change} counted={work.counted} planned={planned} />
        </section>
        <div className="bench-side">
          <PlanSheet work={work}>
            {planned.plan && <YarnTable plan={planned.plan} ready={planned.ready} />}
          </PlanSheet>
          <KeepSheet work={work} />
        </div>
      </div>
    </>
  );
}

/** Keeps what is on the screen as a piece, to come back to while making it. */
function KeepSheet({ work }: { work: Work }) {
  const id = useId();
  const { preferences } = usePreferences();
  const [name, setName] = useState('');
  const [wrong, setWrong] = useState<string | null>(null);
  const [busy, setBusy] = useState(false);
  if (!work.spec || work.measuring.phase === 'sending' || work.measuring.phase === 'measuring') return null;

  const keep = async () => {
    setBusy(true);
    setWrong(null);
    try {
      const piece = await createPiece({
        name: name.trim() || text('piece.unnamed'),
        units: preferences.lengths,
        terms: preferences.terms,
        swatches: [swatchOf(work, null)],
        plan: work.spec,
      });
      goTo({ screen: 'piece', pieceId: piece.id, part: 'plan' });
    } catch (error) {
      setWrong(sentenceOf(error));
      setBusy(false);
    }
  };

  return (
    <section className="sheet" aria-labelledby={`${id}-heading`}>
      <h2 id={`${id}-heading`}>{text('keep.heading')}</h2>
      <p>{text('keep.why')}</p>
      <form
        className="line-up"
        onSubmit={(event) => {
          event.preventDefault();
          void keep();
        }}
      >
        <div className="field">
          <label htmlFor={`${id}-name`}>{text('keep.name')}</label>
          <input
            id={`${id}-name`}
            type="text"
            maxLength={120}
            autoComplete="off"
            value={name}
            onChange={(event) => setName(event.currentTarget.value)}
          />
        </div>
        <button type="submit" className="button button-main" disabled={busy}>
          {text('keep.keep')}
        </button>
      </form>
      <Wrong what={wrong} />
    </section>
  );
}
