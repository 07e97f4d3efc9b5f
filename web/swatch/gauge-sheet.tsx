import { useId, useState } from 'react';
import { MM_PER_10CM, MM_PER_4IN, type StitchKey } from '../../calc/index.ts';
import type { MeasureOptions } from '../../vision/measurement.ts';
import { NumberInput } from '../lib/number-input.tsx';
import { useFormat } from '../lib/format.ts';
import { text } from '../lib/text.ts';
import { StitchSelect, useStitchName } from '../plan/stitch-fields.tsx';
import { AdviceList, GaugeFigures, HowMeasured, StatusLine, type PieceGauge } from './gauge-card.tsx';
import { gaugeFromOf, type GaugeChoice } from './gauge-choice.ts';
import { HookAdviceForm } from './hook-advice.tsx';
import { PaperField } from './paper-field.tsx';
import { Readings } from './readings.tsx';
import type { Measuring } from './use-measuring.ts';
import { YarnField } from './yarn-field.tsx';

export interface GaugeSheetProps {
  measuring: Measuring;
  choice: GaugeChoice;
  onChoose: (choice: GaugeChoice) => void;
  gauge: PieceGauge | null;
  /** Whether she is being asked under the photo which stitch it is. */
  isStitchAsked: boolean;
  /** The maker says which stitch it is (null: the photo is to say). */
  onStitch: (stitch: StitchKey | null) => void;
  onMeasure: (options: MeasureOptions) => void;
}

const PER_4IN = MM_PER_4IN / MM_PER_10CM;

/** Of these the stitch's name is a cure: told what it is, the reader knows which count is meant. */
const NAME_CURES: readonly string[] = [
  'two-readings',
  'readings-disagree',
  'unfamiliar-fabric',
  'looks-disagree',
];

/** The numbers: status, figures, how they came about, other readings, and typing them by hand. */
export function GaugeSheet({
  measuring,
  choice,
  onChoose,
  gauge,
  isStitchAsked,
  onStitch,
  onMeasure,
}: GaugeSheetProps) {
  const id = useId();
  const format = useFormat();
  const nameOf = useStitchName();
  const measurement = measuring.job?.measurement ?? null;
  const source = gaugeFromOf(choice);
  const likely = measurement?.looksLike[0];
  // Shown also while it is not worked with yet.
  const shownGauge = gauge ?? measurement?.gauge ?? null;
  const asksForPaper =
    measuring.photo?.id &&
    (measuring.options.paperSize !== undefined ||
      measurement?.scale?.kind === 'paper' ||
      measurement?.advice.some(({ code }) => code === 'which-paper'));
  // Once named, they stay where they were named.
  const asksForNames =
    !isStitchAsked &&
    (measuring.options.stitch !== undefined ||
      measuring.options.expectedStitchesPer10cm !== undefined ||
      measurement?.advice.some(({ code }) => NAME_CURES.includes(code)));
  const namingFields = measuring.photo?.id && (
    <>
      <div className="field">
        <label htmlFor={`${id}-stitch`}>{text('gauge.stitchIs')}</label>
        <StitchSelect
          id={`${id}-stitch`}
          value={measuring.options.stitch ?? ''}
          firstOption={text('gauge.stitchAuto')}
          onChange={onStitch}
        />
        {likely && (
          <p className="field-help">
            {text('gauge.looksLike', {
              stitch: nameOf(likely.stitch),
              share: format.percent(likely.weight),
            })}
          </p>
        )}
      </div>
      <YarnField options={measuring.options} onMeasure={onMeasure} />
    </>
  );
  const readings = measurement && (
    <Readings
      alternatives={measurement.alternatives}
      chosen={choice.from === 'alternative' ? choice.index : 0}
      onChoose={(index) => onChoose(index === 0 ? { from: 'measurement' } : { from: 'alternative', index })}
    />
  );
  return (
    <section className="sheet" aria-labelledby={`${id}-heading`}>
      <h2 id={`${id}-heading`}>{text('gauge.heading')}</h2>
      <div aria-live="polite" className="plan-part gauge-room">
        {measurement && (
          <StatusLine measurement={measurement} doubt={measuring.doubt} isStitchAsked={isStitchAsked} />
        )}
        {shownGauge ? (
          <GaugeFigures gauge={shownGauge} />
        ) : (
          !measurement && <p className="placeholder-figures gauge-waiting">{text('gauge.waiting')}</p>
        )}
        {source !== 'measurement' && source !== null && (
          <p>
            {text(source === 'hand' ? 'gauge.fromHand' : 'gauge.fromAlternative')}{' '}
            <button
              type="button"
              className="button button-quiet"
              onClick={() => onChoose({ from: 'measurement' })}
            >
              {text('gauge.backToPhoto')}
            </button>
          </p>
        )}
      </div>
      {measurement && <AdviceList advice={measurement.advice} />}
      {asksForPaper && (
        <PaperField
          value={measuring.options.paperSize ?? ''}
          onChange={(paperSize) =>
            onMeasure({
              ...measuring.options,
              reference: paperSize ? 'paper' : 'auto',
              paperSize: paperSize ?? undefined,
            })
          }
        />
      )}
      {asksForNames && namingFields}
      {measurement?.status === 'unsure' && readings}
      <details className="fold">
        <summary>{text('gauge.how')}</summary>
        <div className="fold-inside">
          {measurement && <HowMeasured measurement={measurement} />}
          {measurement?.scale?.kind === 'sheet' && (
            <NumberInput
              label={text('scale.checkLine')}
              value={measuring.options.checkLineMm ?? null}
              min={50}
              max={200}
              optional
              help={text('scale.checkLineHow')}
              onChange={(checkLineMm) =>
                onMeasure({ ...measuring.options, checkLineMm: checkLineMm ?? undefined })
              }
            />
          )}
          {!asksForNames && namingFields}
          {measurement?.status !== 'unsure' && readings}
          <ByHand gauge={gauge} onUse={onChoose} />
          {gauge && <HookAdviceForm gauge={gauge} />}
        </div>
      </details>
    </section>
  );
}

function ByHand({ gauge, onUse }: { gauge: PieceGauge | null; onUse: (choice: GaugeChoice) => void }) {
  const inches = useFormat().lengths === 'in';
  const per = inches ? PER_4IN : 1;
  const unit = text(inches ? 'unit.per4in' : 'unit.per10cm');
  const [stitches, setStitches] = useState<number | null>(null);
  const [rows, setRows] = useState<number | null>(null);
  const asShown = (value: number | undefined) =>
    value === undefined ? null : Math.round(value * per * 10) / 10;
  const both = {
    stitches: stitches ?? asShown(gauge?.stitchesPer10cm.value),
    rows: rows ?? asShown(gauge?.rowsPer10cm.value),
  };
  return (
    <form
      aria-label={text('gauge.byHand')}
      className="line-up"
      onSubmit={(event) => {
        event.preventDefault();
        if (both.stitches !== null && both.rows !== null)
          onUse({ from: 'hand', stitchesPer10cm: both.stitches / per, rowsPer10cm: both.rows / per });
      }}
    >
      <NumberInput
        label={text('gauge.byHandStitches', { unit })}
        value={both.stitches}
        min={1}
        max={150}
        onChange={setStitches}
      />
      <NumberInput
        label={text('gauge.byHandRows', { unit })}
        value={both.rows}
        min={1}
        max={150}
        onChange={setRows}
      />
      <button type="submit" className="button">
        {text('gauge.byHandUse')}
      </button>
    </form>
  );
}
