import { formatLength, type Estimate, type Plan } from '../../calc/index.ts';

const LABEL_WIDTH = 15;
const line = (label: string, text: string): string => `${label.padEnd(LABEL_WIDTH)}${text}`;

/** A plan as plain text for the terminal: the counts, the sizes beside them, the steps, the yarn. */
export function describePlan(plan: Plan): string {
  const length = (mm: number): string => formatLength(mm, plan.units);
  const range = (size: Estimate): string =>
    `${length(size.value)} (95 % sure: ${length(size.low95)} to ${length(size.high95)})`;
  const lines: string[] = [];
  if (plan.name !== null) lines.push(line('Piece', plan.name));
  lines.push(line('Stitch', plan.stitch.name));
  lines.push(line('Wanted', `${length(plan.target.widthMm)} × ${length(plan.target.heightMm)}`));
  lines.push(line('Finished', `${range(plan.finished.widthMm)} wide`));
  lines.push(line('', `${range(plan.finished.heightMm)} high`));
  const count = plan.craft === 'crochet' ? 'foundation chain' : 'stitches to cast on';
  for (const [i, option] of plan.neighbours.width.entries()) {
    const mark = option.chosen ? '→' : ' ';
    const text = `${mark} ${count} ${option.chain}: ${length(option.finishedWidthMm.value)} wide`;
    lines.push(line(i === 0 ? 'Width' : '', text));
  }
  for (const [i, option] of plan.neighbours.height.entries()) {
    const mark = option.chosen ? '→' : ' ';
    lines.push(
      line(
        i === 0 ? 'Height' : '',
        `${mark} ${option.rows} rows: ${length(option.finishedHeightMm.value)} high`,
      ),
    );
  }
  if (plan.border) lines.push(line('Border', `${range(plan.border.depthMm)} deep on each side`));
  lines.push('', ...plan.instructions.map((step, i) => `${String(i + 1).padStart(2)}. ${step}`));
  if (plan.yarn) {
    lines.push('');
    for (const { name, grams, metres, skeins } of plan.yarn.perColour) {
      const weight = `${grams.value.toFixed(0)} g ± ${grams.standardUncertainty.toFixed(0)} g`;
      const run = metres ? `, ${metres.value.toFixed(0)} m` : '';
      const buy = skeins ? `, buy ${skeins.forSafety95} of ${skeins.skeinGrams} g` : '';
      lines.push(line(name, `${weight}${run}${buy}`));
    }
  }
  const remarks = [...plan.cautions, ...plan.advice];
  if (remarks.length > 0) lines.push('', ...remarks.map(({ message }) => `• ${message}`));
  return lines.join('\n');
}
