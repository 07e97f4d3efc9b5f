import { PDFDocument, rgb, StandardFonts } from 'pdf-lib';
import { sheetLayout, type SheetPage } from './sheetLayout.ts';

const POINTS_PER_MM = 72 / 25.4;

/**
 * The measuring sheet as SVG, sized in millimetres.
 *
 * @example
 * await writeFile('sheet.svg', sheetSvg('a4'));
 */
export function sheetSvg(page: SheetPage): string {
  const s = sheetLayout(page);
  const cells = s.fiducials.flatMap(({ cornersMm, cells }) => {
    const side = (cornersMm[1].x - cornersMm[0].x) / cells.length;
    // One black square with light cells on it leaves no hairlines between dark cells.
    return [
      `<rect x="${cornersMm[0].x}" y="${cornersMm[0].y}" width="${side * cells.length}" height="${side * cells.length}"/>`,
      ...cells.flatMap((row, j) =>
        row.flatMap((v, i) =>
          v
            ? [
                `<rect x="${cornersMm[0].x + i * side}" y="${cornersMm[0].y + j * side}" width="${side}" height="${side}" fill="#fff"/>`,
              ]
            : [],
        ),
      ),
    ];
  });
  const lines = s.lines.map(
    (l) =>
      `<line x1="${l.fromMm.x}" y1="${l.fromMm.y}" x2="${l.toMm.x}" y2="${l.toMm.y}" stroke="#000" stroke-width="${l.strokeMm}"/>`,
  );
  const card = s.cardOutline;
  const texts = s.texts.map(
    (t) =>
      `<text x="${t.atMm.x}" y="${t.atMm.y}" font-family="sans-serif" font-size="${t.heightMm}">${t.text.replace(/&/g, '&amp;').replace(/</g, '&lt;')}</text>`,
  );
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" width="${s.widthMm}mm" height="${s.heightMm}mm" viewBox="0 0 ${s.widthMm} ${s.heightMm}">`,
    `<rect width="${s.widthMm}" height="${s.heightMm}" fill="#fff"/>`,
    ...cells,
    ...lines,
    `<rect x="${card.leftMm}" y="${card.topMm}" width="${card.widthMm}" height="${card.heightMm}" rx="${card.cornerRadiusMm}" fill="none" stroke="#000" stroke-width="0.25"/>`,
    ...texts,
    '</svg>',
  ].join('\n');
}

/**
 * The measuring sheet as a one-page PDF of the page's true size.
 *
 * @example
 * await writeFile('sheet.pdf', await sheetPdf('letter'));
 */
export async function sheetPdf(page: SheetPage): Promise<Uint8Array> {
  const s = sheetLayout(page);
  const pdf = await PDFDocument.create();
  pdf.setTitle('Measuring sheet');
  const font = await pdf.embedFont(StandardFonts.Helvetica);
  // Viewers that honour this do not offer to fit the page.
  pdf.catalog.getOrCreateViewerPreferences().setPrintScaling('None' as never);
  const k = POINTS_PER_MM;
  const paper = pdf.addPage([s.widthMm * k, s.heightMm * k]);
  const y = (mm: number): number => (s.heightMm - mm) * k;
  const box = (left: number, top: number, side: number, white: boolean): void =>
    paper.drawRectangle({
      x: left * k,
      y: y(top + side),
      width: side * k,
      height: side * k,
      color: white ? rgb(1, 1, 1) : rgb(0, 0, 0),
    });
  for (const { cornersMm, cells } of s.fiducials) {
    const side = (cornersMm[1].x - cornersMm[0].x) / cells.length;
    box(cornersMm[0].x, cornersMm[0].y, side * cells.length, false);
    cells.forEach((row, j) =>
      row.forEach((v, i) => {
        if (v) box(cornersMm[0].x + i * side, cornersMm[0].y + j * side, side, true);
      }),
    );
  }
  for (const l of s.lines) {
    paper.drawLine({
      start: { x: l.fromMm.x * k, y: y(l.fromMm.y) },
      end: { x: l.toMm.x * k, y: y(l.toMm.y) },
      thickness: l.strokeMm * k,
    });
  }
  const { leftMm: x0, topMm: y0, widthMm: w, heightMm: h, cornerRadiusMm: r } = s.cardOutline;
  paper.drawSvgPath(
    `M${r} 0H${w - r}A${r} ${r} 0 0 1 ${w} ${r}V${h - r}A${r} ${r} 0 0 1 ${w - r} ${h}H${r}A${r} ${r} 0 0 1 0 ${h - r}V${r}A${r} ${r} 0 0 1 ${r} 0Z`,
    { x: x0 * k, y: y(y0), scale: k, borderColor: rgb(0, 0, 0), borderWidth: 0.25 },
  );
  for (const t of s.texts) {
    paper.drawText(t.text, { x: t.atMm.x * k, y: y(t.atMm.y), size: t.heightMm * k, font });
  }
  return pdf.save();
}
