import {
  englishSayer,
  formatLength,
  LENGTH_STEP_MM,
  say,
  type LengthUnit,
  type Plan,
  type RevisedColour,
  type RevisedOption,
  type Uncertain,
  type Verdict,
} from '../../calc/index.ts';
import type { CheckOutcome } from './check.ts';

const LABEL_WIDTH = 15;
const line = (label: string, text: string): string => `${label.padEnd(LABEL_WIDTH)}${text}`;
/** The best ways to go on; the rest is in the JSON. */
const OPTIONS_SHOWN = 5;

const VERDICTS: Record<Verdict, string> = {
  'on-target': 'as promised',
  'too-small': 'too small',
  'too-large': 'too large',
  unsure: 'not certain yet',
};

/** A check as plain text for the terminal. */
export function describeCheck(
  outcome: CheckOutcome,
  plan: Plan,
  { nameOf, rowOneAt }: { nameOf: (colour: string) => string; rowOneAt: 'bottom' | 'top' },
): string {
  const { gauge, rowsDone, drift, across, projection, options, yarn, photos, piece, sizeNow } = outcome;
  const length = (mm: number): string => formatLength(mm, plan.units);
  const sayer = englishSayer(plan.units);
  // What a length lies between is rounded outward.
  const step = LENGTH_STEP_MM[plan.units];
  const range = ({ value, standardUncertainty: u }: Uncertain): string => {
    const low = length(step * Math.floor((value - 1.96 * u) / step));
    const high = length(step * Math.ceil((value + 1.96 * u) / step));
    return `${length(value)} (95 % sure: ${low} to ${high})`;
  };
  const lines: string[] = [];
  if (plan.name !== null) lines.push(line('Piece', plan.name));
  const source = {
    told: 'as you count them',
    counted: 'counted in the photo',
    height: 'from height and row height',
  }[rowsDone.from ?? 'told'];
  lines.push(line('Rows done', `${rowsDone.value} of ${plan.rows} (${source})`));
  if (rowsDone.said) lines.push(line('', say(rowsDone.said, sayer)));
  if (piece?.widthMm && piece.heightMm) {
    // A close photo of a part has an outline too, which says nothing of the piece.
    const isPiece = sizeNow.widthMm !== null;
    if (isPiece || photos.length === 1) {
      const why = piece.status === 'ok' ? 'its stitches say that it is not the whole piece' : 'unsure';
      const [wide, high] = outcome.onItsSide
        ? [piece.heightMm, piece.widthMm]
        : [piece.widthMm, piece.heightMm];
      lines.push(line('Size now', `${range(wide)} wide${isPiece ? '' : `; not used: ${why}`}`));
      lines.push(
        line('', `${range(high)} high${outcome.onItsSide ? '; it lies on its side in the photo' : ''}`),
      );
    }
  }
  if (gauge) {
    const { stitchesPer10cm: s, rowsPer10cm: r } = gauge;
    lines.push(line('Stitches', `${s.value.toFixed(2)} ± ${s.standardUncertainty.toFixed(2)} per 10 cm`));
    lines.push(line('Rows', `${r.value.toFixed(2)} ± ${r.standardUncertainty.toFixed(2)} per 10 cm`));
  }
  for (const name of outcome.leftOut)
    lines.push(line('', `${name} was counted by another unit and is left out`));
  lines.push(line('Tension', say(drift.said, sayer)));
  if (outcome.driftRestsOnRowOne) {
    const photos = new Set(outcome.bands.map(({ photo }) => photo)).size;
    const by =
      outcome.driftFrom === 'outline' ? 'the outline' : photos > 1 ? 'photos of one part' : 'one photo';
    const [here, there] = rowOneAt === 'top' ? ['top (or right)', 'bottom'] : ['bottom (or left)', 'top'];
    lines.push(
      line(
        '',
        `By ${by}, with row 1 at ${photos > 1 ? 'their' : 'its'} ${here}; if it lies at the other end, say "rowOneAt": "${there}".`,
      ),
    );
  }
  if (drift.swatch?.differs) {
    const { value } = drift.swatch.differencePercent;
    lines.push(
      line(
        '',
        `On the whole ${Math.abs(value).toFixed(1)} % ${value > 0 ? 'tighter' : 'looser'} than the swatch.`,
      ),
    );
  }
  if (across.status === 'tighter-left' || across.status === 'tighter-right')
    lines.push(line('', say(across.said, sayer)));
  const { widthMm, heightMm, target, verdict } = projection;
  lines.push(line('At the finish', `${projection.rowsLeft} rows to go`));
  lines.push(
    line('', `${range(widthMm)} wide, promised ${length(target.widthMm)}: ${VERDICTS[verdict.width]}`),
    line('', `${range(heightMm)} high, promised ${length(target.heightMm)}: ${VERDICTS[verdict.height]}`),
  );
  for (const [i, option] of options.slice(0, OPTIONS_SHOWN).entries()) {
    lines.push(line(i === 0 ? 'Ways on' : '', `${i + 1}. ${option.description}`));
    lines.push(line('', `   ${whatItMeans(option, plan.units, nameOf)}`));
  }
  if (options.length > OPTIONS_SHOWN)
    lines.push(line('', `   (${options.length - OPTIONS_SHOWN} more with --json)`));
  for (const { colour, remainingGrams, chanceOfRunningOut, skeinsToBuy } of yarn) {
    const buy = skeinsToBuy ? `, buy ${skeinsToBuy} more` : '';
    lines.push(
      line(
        nameOf(colour),
        `${remainingGrams.value.toFixed(0)} g ± ${remainingGrams.standardUncertainty.toFixed(0)} g still to be worked, ${chance(chanceOfRunningOut)} to run out${buy}`,
      ),
    );
  }
  const advice = new Map<string, number[]>();
  for (const [i, photo] of photos.entries())
    for (const { message } of photo.advice) advice.set(message, [...(advice.get(message) ?? []), i + 1]);
  for (const [message, of] of advice) {
    const which = photos.length > 1 ? `Photo ${[...new Set(of)].join(', ')}: ` : '';
    lines.push(line('Advice', `${which}${message}`));
  }
  return lines.join('\n');
}

/** Size, taper, ripping and yarn of a way to go on. */
function whatItMeans(option: RevisedOption, units: LengthUnit, nameOf: (colour: string) => string): string {
  const parts = [
    `${formatLength(option.widthMm.value, units)} × ${formatLength(option.heightMm.value, units)}`,
  ];
  const taper = option.lastMinusFirstRowMm;
  if (Math.abs(taper) >= 5) {
    // As the tension's own sentence writes it.
    const off = englishSayer(units).length(Math.abs(taper), false);
    parts.push(`the last row ${off} ${taper < 0 ? 'narrower' : 'wider'} than the first`);
  }
  if (option.rippedRows > 0) parts.push(`${option.rippedRows} rows to rip`);
  for (const each of option.yarn ?? []) parts.push(yarnOf(each, nameOf(each.colour)));
  if (option.chanceOfRunningOut !== null) parts.push(`${chance(option.chanceOfRunningOut)} to run out`);
  return parts.join('; ');
}

function yarnOf({ gramsNeeded, gramsAvailable }: RevisedColour, name: string): string {
  const have = gramsAvailable === null ? '' : ` of ${gramsAvailable.toFixed(0)} g`;
  return `${name} ${gramsNeeded.value.toFixed(0)} g${have}`;
}

/** Rare chances are not known exactly. */
function chance(value: number): string {
  if (value < 0.01) return 'under 1 %';
  return value > 0.99 ? 'over 99 %' : `${(100 * value).toFixed(0)} %`;
}
