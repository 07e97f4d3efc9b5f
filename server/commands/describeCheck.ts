import { formatLength, type Plan } from '../../calc/index.ts';
import type { CheckOutcome } from './check.ts';

const LABEL_WIDTH = 15;
const line = (label: string, text: string): string => `${label.padEnd(LABEL_WIDTH)}${text}`;
/** The best ways to go on; the rest is in the JSON. */
const OPTIONS_SHOWN = 5;

/** A check as plain text for the terminal. */
export function describeCheck(outcome: CheckOutcome, plan: Plan): string {
  const { gauge, rowsDone, drift, projection, options, yarn, photos, piece } = outcome;
  const length = (mm: number): string => formatLength(mm, plan.units);
  const lines: string[] = [];
  if (plan.name !== null) lines.push(line('Piece', plan.name));
  const source = {
    told: 'as you count them',
    counted: 'counted in the photo',
    height: 'from height and row height',
  }[rowsDone.from ?? 'told'];
  lines.push(line('Rows done', `${rowsDone.value} of ${plan.rows} (${source})`));
  if (rowsDone.message) lines.push(line('', rowsDone.message));
  if (piece?.widthMm && piece.heightMm) {
    const one = ({ value, standardUncertainty }: { value: number; standardUncertainty: number }) =>
      `${length(value)} ± ${length(1.96 * standardUncertainty)}`;
    const doubt = piece.status === 'ok' ? '' : ' (unsure, not used)';
    lines.push(line('Size now', `${one(piece.widthMm)} wide, ${one(piece.heightMm)} high${doubt}`));
  }
  if (gauge) {
    const { stitchesPer10cm: s, rowsPer10cm: r } = gauge;
    lines.push(line('Stitches', `${s.value.toFixed(2)} ± ${s.standardUncertainty.toFixed(2)} per 10 cm`));
    lines.push(line('Rows', `${r.value.toFixed(2)} ± ${r.standardUncertainty.toFixed(2)} per 10 cm`));
  }
  for (const name of outcome.leftOut)
    lines.push(line('', `${name} was counted by another unit and is left out`));
  lines.push(line('Tension', drift.message));
  lines.push(line('At the finish', projection.message));
  for (const [i, option] of options.slice(0, OPTIONS_SHOWN).entries()) {
    const size = `${length(option.widthMm.value)} × ${length(option.heightMm.value)}`;
    const risk =
      option.chanceOfRunningOut === null
        ? ''
        : `, ${(100 * option.chanceOfRunningOut).toFixed(0)} % to run out`;
    lines.push(line(i === 0 ? 'Ways on' : '', `${option.description} (${size}${risk})`));
  }
  for (const { colour, remainingGrams, chanceOfRunningOut, skeinsToBuy } of yarn) {
    const buy = skeinsToBuy ? `, buy ${skeinsToBuy} more` : '';
    lines.push(
      line(
        colour,
        `${remainingGrams.value.toFixed(0)} g still to be worked, ${(100 * chanceOfRunningOut).toFixed(0)} % to run out${buy}`,
      ),
    );
  }
  const advice = new Set(photos.flatMap((photo) => photo.advice.map(({ message }) => message)));
  for (const message of advice) lines.push(line('Advice', message));
  return lines.join('\n');
}
