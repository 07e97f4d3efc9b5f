import { useId } from 'react';
import { MM_PER_10CM, MM_PER_4IN } from '../../calc/index.ts';
import type { Alternative } from '../../vision/measurement.ts';
import { formatNumber, useFormat } from '../lib/format.ts';
import { text } from '../lib/text.ts';

const PER_4IN = MM_PER_4IN / MM_PER_10CM;

/** The counts the photo allows, likeliest first; the maker takes the one she sees. */
export function Readings({
  alternatives,
  chosen,
  onChoose,
}: {
  alternatives: Alternative[];
  chosen: number;
  onChoose: (index: number) => void;
}) {
  const format = useFormat();
  const name = useId();
  const per = format.lengths === 'in' ? PER_4IN : 1;
  const unit = text(format.lengths === 'in' ? 'unit.per4in' : 'unit.per10cm');
  const usable = alternatives
    .map((one, index) => ({ ...one, index }))
    .filter(
      (one): one is typeof one & { stitchesPer10cm: number; rowsPer10cm: number } =>
        one.stitchesPer10cm !== null && one.rowsPer10cm !== null,
    );
  if (usable.length < 2) return null;
  return (
    <fieldset>
      <legend>{text('readings.heading')}</legend>
      <p className="field-help">{text('readings.why')}</p>
      <ul className="readings">
        {usable.map((one) => (
          <li key={one.index}>
            <label>
              <input
                type="radio"
                name={name}
                checked={chosen === one.index}
                onChange={() => onChoose(one.index)}
              />
              <span>
                {text('readings.one', {
                  stitches: formatNumber(one.stitchesPer10cm * per, 1),
                  rows: formatNumber(one.rowsPer10cm * per, 1),
                })}{' '}
                {unit}{' '}
                <span className="field-help">
                  ({text('readings.weight', { share: format.percent(one.weight) })})
                </span>
              </span>
            </label>
          </li>
        ))}
      </ul>
    </fieldset>
  );
}
