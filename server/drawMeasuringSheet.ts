import { PDFDocument, rgb, StandardFonts } from 'pdf-lib';
import { sheetLayout, type SheetPage } from '../vision/scale/sheetLayout.ts';

const POINTS_PER_MM = 72 / 25.4;
const BLACK = rgb(0, 0, 0);
const WHITE = rgb(1, 1, 1);

/**
 * The printable measuring sheet as a PDF, true to size when printed at 100 %.
 *
 * @returns the bytes of a one-page PDF
 */
export async function drawMeasuringSheet(page: SheetPage): Promise<Uint8Array> {
  const layout = sheetLayout(page);
  const pt = (mm: number): number => mm * POINTS_PER_MM;
  /** PDF counts upwards from the bottom edge. */
  const up = (yMm: number): number => pt(layout.heightMm - yMm);

  const pdf = await PDFDocument.create();
  pdf.setTitle('Measuring sheet');
  // A viewer that heeds this does not offer to fit the page to the paper.
  pdf.catalog.getOrCreateViewerPreferences().setPrintScaling('None' as never);
  const font = await pdf.embedFont(StandardFonts.Helvetica);
  const sheet = pdf.addPage([pt(layout.widthMm), pt(layout.heightMm)]);

  for (const { cornersMm, cells } of layout.fiducials) {
    const [topLeft, topRight] = cornersMm;
    const sideMm = topRight.x - topLeft.x;
    const cellMm = sideMm / cells.length;
    sheet.drawRectangle({
      x: pt(topLeft.x),
      y: up(topLeft.y + sideMm),
      width: pt(sideMm),
      height: pt(sideMm),
      color: BLACK,
    });
    for (const [row, line] of cells.entries()) {
      for (const [column, cell] of line.entries()) {
        if (cell === 0) continue;
        sheet.drawRectangle({
          x: pt(topLeft.x + column * cellMm),
          y: up(topLeft.y + (row + 1) * cellMm),
          width: pt(cellMm),
          height: pt(cellMm),
          color: WHITE,
        });
      }
    }
  }
  for (const { fromMm, toMm, strokeMm } of layout.lines) {
    sheet.drawLine({
      start: { x: pt(fromMm.x), y: up(fromMm.y) },
      end: { x: pt(toMm.x), y: up(toMm.y) },
      thickness: pt(strokeMm),
      color: BLACK,
    });
  }
  const { leftMm, topMm, widthMm, heightMm, cornerRadiusMm: r } = layout.cardOutline;
  const path =
    `M ${pt(r)} 0 H ${pt(widthMm - r)} A ${pt(r)} ${pt(r)} 0 0 1 ${pt(widthMm)} ${pt(r)} ` +
    `V ${pt(heightMm - r)} A ${pt(r)} ${pt(r)} 0 0 1 ${pt(widthMm - r)} ${pt(heightMm)} ` +
    `H ${pt(r)} A ${pt(r)} ${pt(r)} 0 0 1 0 ${pt(heightMm - r)} V ${pt(r)} A ${pt(r)} ${pt(r)} 0 0 1 ${pt(r)} 0 Z`;
  sheet.drawSvgPath(path, { x: pt(leftMm), y: up(topMm), borderColor: BLACK, borderWidth: pt(0.2) });
  for (const { atMm, heightMm: size, text } of layout.texts) {
    sheet.drawText(text, { x: pt(atMm.x), y: up(atMm.y), size: pt(size), font, color: BLACK });
  }
  return await pdf.save();
}
