import { bandOfRow, blocksOfRow, readPlanSpec, type Plan, type PlanSpec } from '../../calc/index.ts';
import { writeCsv } from './writeCsv.ts';

/**
 * The rows of a planned piece, one a line: number, side, height reached, stitches, and the colours in the
 * order they are worked (with their stitches); then the border's rounds.
 *
 * @throws CalcError
 */
export function rowsCsv(spec: PlanSpec, plan: Plan): string {
  const ready = readPlanSpec(spec);
  const colourName = (id: string): string => ready.colours.find((one) => one.id === id)?.name ?? id;
  const rowHeightMm = plan.body.heightMm.value / plan.rows;
  const lines: (string | number | null)[][] = [['row', 'side', 'stitches', 'height_mm', 'colours']];
  for (let row = 1; row <= plan.rows; row++) {
    const band = ready.layout.bands[bandOfRow(ready.layout, row).index]!;
    const blocks = blocksOfRow(band, plan.stitches, plan.multiple.plus);
    const isRightSide = row % 2 === 1;
    const worked = isRightSide ? blocks : blocks.toReversed();
    lines.push([
      row,
      isRightSide ? 'right' : 'wrong',
      plan.stitches,
      round(row * rowHeightMm),
      ready.layout.kind === 'shares'
        ? null
        : worked.map((b) => `${colourName(b.colour)} ${b.stitches}`).join(' | '),
    ]);
  }
  for (const round_ of plan.border?.rounds ?? []) {
    lines.push([
      `border ${round_.round}`,
      'right',
      round_.stitches,
      round(round_.depthMm),
      `${colourName(round_.colour)} ${round_.stitches}`,
    ]);
  }
  return writeCsv(lines);
}

const round = (mm: number): number => Math.round(mm * 10) / 10;
