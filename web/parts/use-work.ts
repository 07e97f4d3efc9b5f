import { useMemo, useState } from 'react';
import { stitchKeyOf, STITCHES, type StitchKey } from '../../calc/index.ts';
import { usePreferences } from '../lib/preferences.tsx';
import { toSpec, withoutSample, type PlanDraft } from '../plan/draft.ts';
import { text } from '../lib/text.ts';
import { usePlan } from '../plan/use-plan.ts';
import type { CountedSwatch } from '../plan/weigh-fields.tsx';
import { gaugeInForce, type GaugeChoice } from '../swatch/gauge-choice.ts';
import { isStitchUnsaid } from '../swatch/stitch-unsaid.ts';
import { ofStitch } from '../swatch/yarn-field.tsx';
import { useMeasuring } from '../swatch/use-measuring.ts';

/** How sure the reader must be of the stitch for the plan to follow it unasked. */
const SURE_OF_STITCH = 0.5;

/** The same choices in another stitch: its own multiple, and no crochet border on knitting unasked. */
function inStitch(draft: PlanDraft, stitch: StitchKey): PlanDraft {
  return {
    ...draft,
    stitch,
    multiple: undefined,
    fixed: undefined,
    border: STITCHES[stitch].craft === 'knit' ? null : draft.border,
  };
}

/** One piece in hand, from the photo to the plan: what the start screen and a kept piece have in common. */
export function useWork(first: PlanDraft, firstChoice: GaugeChoice = { from: 'measurement' }) {
  const { preferences } = usePreferences();
  const [measuring, measuringActions] = useMeasuring();
  const [draft, setDraft] = useState<PlanDraft>(first);
  const [choice, setChoice] = useState<GaugeChoice>(firstChoice);

  const measurement = measuring.job?.measurement ?? null;
  // Until she says what it is, the plan is for the stitch the photo shows.
  const [followed, setFollowed] = useState<string | null>(null);
  const [stitchIsHers, setStitchIsHers] = useState(firstChoice.from !== 'measurement');
  const likely = measurement?.looksLike[0];
  if (measuring.job && measurement && measuring.job.id !== followed) {
    setFollowed(measuring.job.id);
    if (!stitchIsHers && likely && likely.weight >= SURE_OF_STITCH && likely.stitch !== draft.stitch)
      setDraft(inStitch(draft, likely.stitch));
  }

  // Numbers that may have been taken from the wrong thing are shown, but nothing is planned with them.
  const isDoubtful =
    measuring.doubt === 'unsure' && (choice.from === 'measurement' || choice.from === 'alternative');
  // Nor with what another stitch would make another count of, until she has said which it is.
  const [unlisted, setUnlisted] = useState<string | null>(null);
  const isStitchAsked =
    !isDoubtful &&
    choice.from === 'measurement' &&
    isStitchUnsaid(measuring) &&
    measuring.photo?.id !== unlisted;
  const isOpen = isDoubtful || isStitchAsked;
  const gauge = useMemo(
    () => (isOpen ? null : gaugeInForce(choice, measurement)),
    [isOpen, choice, measurement],
  );
  const spec = useMemo(() => gauge && toSpec(draft, gauge, preferences), [gauge, draft, preferences]);
  const planned = usePlan(
    spec,
    text(isDoubtful ? 'ask.first' : isStitchAsked ? 'askStitch.first' : 'plan.first'),
  );

  /** Counts taken by hand belong to the size and stitch they were taken for, so any other change lets them go. */
  const change = (next: PlanDraft) => {
    if (next.stitch !== draft.stitch) {
      setStitchIsHers(true);
      if (isStitchAsked) actions.measureAgain(ofStitch(measuring.options, stitchKeyOf(next.stitch)));
    }
    setDraft({ ...next, fixed: undefined });
  };

  // A new photo, or measuring anew, is asked for in order to be used.
  const actions = useMemo(() => {
    const afresh =
      <A extends unknown[]>(act: (...args: A) => void) =>
      (...args: A) => {
        setChoice({ from: 'measurement' });
        act(...args);
      };
    return {
      ...measuringActions,
      takeFile: afresh((file: Blob) => {
        setDraft((before) => withoutSample(before, text('colour.fresh', { n: 1 })));
        measuringActions.takeFile(file);
      }),
      takeSample: afresh(measuringActions.takeSample),
      measureAgain: afresh(measuringActions.measureAgain),
    };
  }, [measuringActions]);

  const onStitch = (stitch: StitchKey | null) => {
    setStitchIsHers(stitch !== null);
    if (stitch) setDraft(inStitch(draft, stitch));
    actions.measureAgain(ofStitch(measuring.options, stitch));
  };

  /** Her answer under the photo; null: the stitch is not among those that are listed, and the photo has to do. */
  const onStitchAnswer = (stitch: StitchKey | null) => {
    if (stitch) onStitch(stitch);
    else setUnlisted(measuring.photo?.id ?? null);
  };

  const counted: CountedSwatch = {
    stitches: measurement?.counted.stitches ? Math.round(measurement.counted.stitches.value) : null,
    rows: measurement?.counted.rows ? Math.round(measurement.counted.rows.value) : null,
  };

  return {
    measuring,
    actions,
    measurement,
    draft,
    change,
    setFixed: (fixed: PlanDraft['fixed']) => setDraft({ ...draft, fixed }),
    setDraft,
    choice,
    setChoice,
    gauge,
    spec,
    planned,
    onStitch,
    isStitchAsked,
    onStitchAnswer,
    counted,
  };
}

export type Work = ReturnType<typeof useWork>;
