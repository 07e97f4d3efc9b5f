import { MM_PER_10CM, MM_PER_4IN, type Estimate, type Plan } from '../../calc/index.ts';
import { formatNumber, type Format } from '../lib/format.ts';
import { spreadOf } from '../lib/spread-of.ts';
import { hasText, text } from '../lib/text.ts';

/** One of the few numbers that a maker looks for first, with its name and what belongs beneath it. */
export interface PlanFigure {
  key: 'chain' | 'rows' | 'border' | 'size';
  name: string;
  main: string;
  below: string[];
}

/** Chain, rows, border and finished size, as they are written large. */
export function planFigures(plan: Plan, format: Format): PlanFigure[] {
  const { finished, border } = plan;
  const crochet = plan.craft === 'crochet';
  return [
    {
      key: 'chain',
      name: text(crochet ? 'result.chain' : 'result.castOn'),
      main: formatNumber(crochet ? plan.chain : plan.stitches),
      below: crochet ? [text('result.stitches', { n: plan.stitches })] : [],
    },
    {
      key: 'rows',
      name: text('result.rows'),
      main: formatNumber(plan.rows),
      below: border ? [text('result.perRow')] : [],
    },
    {
      key: 'border',
      name: text('result.border'),
      main: border ? formatNumber(border.rounds.length) : text('result.none'),
      below: border ? [text('result.borderDepth', { depth: format.length(border.depthMm.value) })] : [],
    },
    {
      key: 'size',
      name: text('result.size'),
      main: format.size(finished.widthMm.value, finished.heightMm.value),
      below: [
        text('result.sizeSpread', {
          width: format.lengthNumber(spreadOf(finished.widthMm)),
          height: format.length(spreadOf(finished.heightMm)),
        }),
      ],
    },
  ];
}

/** The gauge that everything else was worked out from. */
export function gaugeSentence(plan: Plan, format: Format): string {
  const per = format.lengths === 'in' ? MM_PER_4IN / MM_PER_10CM : 1;
  const write = (figure: Estimate) =>
    text('gauge.of', {
      value: formatNumber(figure.value * per, 1),
      spread: formatNumber(spreadOf(figure) * per, 1),
    });
  return text('result.gauge', {
    stitch: plan.stitch.name,
    stitches: write(plan.gauge.stitchesPer10cm),
    rows: write(plan.gauge.rowsPer10cm),
    unit: text(format.lengths === 'in' ? 'unit.per4in' : 'unit.per10cm'),
  });
}

/** A caution in the catalogue's words. */
export function cautionWords(caution: Plan['cautions'][number]): string {
  const key = `caution.${caution.code}`;
  return hasText(key) ? text(key) : caution.message;
}
