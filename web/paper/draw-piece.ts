import { grayscale } from 'pdf-lib';
import type { Plan, ReadyPlanSpec } from '../../calc/index.ts';
import type { Format } from '../lib/format.ts';
import { CARD_MM, pieceShapes } from '../plan/piece-shapes.ts';
import { hexColour } from './hex-colour.ts';
import type { SheetWriter } from './sheet-writer.ts';

/** The most that the picture may take of a page's height, so that the numbers stay beside it. */
const TALLEST_PT = 230;
const LABEL = { sizePt: 9.5 };
/** Room for a line with a length beneath it, and for one to the left. */
const BENEATH_PT = 22;
const BESIDE_PT = 64;
const INK = grayscale(0.25);

/** The piece to scale with its measures, and a library-size card beside it, as on the screen. */
export async function drawPiece(
  sheet: SheetWriter,
  { plan, ready, format }: { plan: Plan; ready: ReadyPlanSpec; format: Format },
): Promise<void> {
  const widthMm = plan.finished.widthMm.value;
  const heightMm = plan.finished.heightMm.value;
  const ptPerMm = Math.min(
    (TALLEST_PT - BENEATH_PT) / heightMm,
    (sheet.widthPt - BESIDE_PT) / (widthMm + CARD_MM.width * 1.3),
  );
  const [width, height] = [widthMm * ptPerMm, heightMm * ptPerMm];
  const top = sheet.room(height + BENEATH_PT) - 2;
  const left = sheet.leftPt + BESIDE_PT;
  const { page } = sheet;

  for (const { part, x, y, width: w, height: h, colour } of pieceShapes(plan, ready))
    page.drawRectangle({
      x: left + x * ptPerMm,
      y: top - (y + h) * ptPerMm,
      width: w * ptPerMm,
      height: h * ptPerMm,
      color: hexColour(colour),
      ...(part === 'border' ? { borderColor: INK, borderWidth: 0.4 } : {}),
    });
  const depth = (plan.border?.depthMm.value ?? 0) * ptPerMm;
  page.drawRectangle({
    x: left + depth,
    y: top - height + depth,
    width: width - 2 * depth,
    height: height - 2 * depth,
    borderColor: INK,
    borderWidth: 0.6,
  });

  const rule = (x0: number, y0: number, x1: number, y1: number) =>
    page.drawLine({ start: { x: x0, y: y0 }, end: { x: x1, y: y1 }, thickness: 0.6, color: INK });
  const bottom = top - height;
  rule(left, bottom - 6, left + width, bottom - 6);
  for (const x of [left, left + width]) rule(x, bottom - 9, x, bottom - 3);
  await sheet.words(format.length(widthMm), LABEL, { x: left + width / 2, y: bottom - 18, align: 'middle' });
  rule(left - 6, top, left - 6, bottom);
  for (const y of [top, bottom]) rule(left - 9, y, left - 3, y);
  const middle = bottom + height / 2 - LABEL.sizePt / 3;
  await sheet.words(format.length(heightMm), LABEL, { x: left - 12, y: middle, align: 'right' });
  page.drawRectangle({
    x: left + width + CARD_MM.width * ptPerMm * 0.15,
    y: bottom,
    width: CARD_MM.width * ptPerMm,
    height: CARD_MM.height * ptPerMm,
    borderColor: INK,
    borderWidth: 0.6,
    borderDashArray: [2, 1.5],
  });
  sheet.down(height + BENEATH_PT + 2);
}
