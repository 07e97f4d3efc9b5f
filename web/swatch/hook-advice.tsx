import { useState } from 'react';
import { CalcError, hookAdvice, MM_PER_10CM, MM_PER_4IN } from '../../calc/index.ts';
import { useFormat } from '../lib/format.ts';
import { NumberInput } from '../lib/number-input.tsx';
import { refusalWords, useSay } from '../lib/say.ts';
import { text } from '../lib/text.ts';
import type { PieceGauge } from './gauge-card.tsx';

/** For a pattern that asks for a gauge: which hook to take, and what it costs to ignore the difference. */
export function HookAdviceForm({ gauge }: { gauge: PieceGauge }) {
  const format = useFormat();
  const say = useSay();
  const per = format.lengths === 'in' ? MM_PER_4IN / MM_PER_10CM : 1;
  const unit = text(format.lengths === 'in' ? 'unit.per4in' : 'unit.per10cm');
  const [wanted, setWanted] = useState<number | null>(null);
  const [hookMm, setHookMm] = useState<number | null>(null);
  let message: string | null = null;
  if (wanted !== null && hookMm !== null) {
    try {
      message = say(hookAdvice({ measured: gauge.stitchesPer10cm, wanted: wanted / per, hookMm }).said);
    } catch (error) {
      if (!(error instanceof CalcError)) throw error;
      message = refusalWords(error, format.lengths);
    }
  }
  return (
    <fieldset className="plan-group">
      <legend>{text('hook.heading')}</legend>
      <div className="line-up">
        <NumberInput
          label={text('hook.wanted', { unit })}
          value={wanted}
          min={1}
          max={150}
          optional
          onChange={setWanted}
        />
        <NumberInput
          label={text('hook.used')}
          value={hookMm}
          min={0.5}
          max={25}
          optional
          onChange={setHookMm}
        />
      </div>
      <p aria-live="polite">{message}</p>
    </fieldset>
  );
}
