import { useId } from 'react';
import { expectedStitches, YARN_CATEGORIES, type StitchKey, type YarnCategory } from '../../calc/index.ts';
import type { MeasureOptions } from '../../vision/measurement.ts';
import { text } from '../lib/text.ts';

/** Which yarn the maker says it is; how many stitches are usual in it then tells halves and doubles apart. */
export function YarnField({
  options,
  onMeasure,
}: {
  options: MeasureOptions;
  onMeasure: (options: MeasureOptions) => void;
}) {
  const id = useId();
  return (
    <div className="field">
      <label htmlFor={id}>{text('gauge.yarnIs')}</label>
      <select
        id={id}
        value={yarnOf(options)?.number ?? ''}
        onChange={(event) => {
          const chosen = event.currentTarget.value;
          onMeasure(ofYarn(options, chosen === '' ? null : YARN_CATEGORIES[Number(chosen)]!));
        }}
      >
        <option value="">{text('gauge.yarnAny')}</option>
        {YARN_CATEGORIES.map(({ number }) => (
          <option key={number} value={number}>
            {text(`yarn.${number as YarnNumber}`)}
          </option>
        ))}
      </select>
    </div>
  );
}

type YarnNumber = 0 | 1 | 2 | 3 | 4 | 5 | 6 | 7;

/** The same photo measured as another stitch: what is usual in its yarn may be another number then. */
export function ofStitch(options: MeasureOptions, stitch: StitchKey | null): MeasureOptions {
  return ofYarn({ ...options, stitch: stitch ?? undefined }, yarnOf(options));
}

function ofYarn(options: MeasureOptions, yarn: YarnCategory | null): MeasureOptions {
  return {
    ...options,
    expectedStitchesPer10cm: yarn ? expectedStitches(yarn, options.stitch ?? null) : undefined,
  };
}

function yarnOf({ stitch, expectedStitchesPer10cm: expected }: MeasureOptions): YarnCategory | null {
  const isAsked = (yarn: YarnCategory) => {
    const { low, high } = expectedStitches(yarn, stitch ?? null);
    return low === expected?.low && high === expected.high;
  };
  return YARN_CATEGORIES.find(isAsked) ?? null;
}
