import { PDFDocument } from 'pdf-lib';
import sharp from 'sharp';
import { describe, expect, it } from 'vitest';
import { decodePhoto } from '../../vision/decode.ts';
import { sheetPdf, sheetSvg } from '../../vision/scale/drawSheet.ts';
import { findSheet } from '../../vision/scale/findSheet.ts';

describe('the printable sheet', () => {
  it('as SVG is read back by the finder', async () => {
    const drawn = await sharp(Buffer.from(sheetSvg('letter')))
      .resize({ width: 1100 })
      .png()
      .toBuffer();
    const page = await sharp(drawn).extend(40).png().toBuffer();
    const scale = findSheet(await decodePhoto(page), { workHeightMm: { mean: 0, sd: 0 } });
    expect(scale?.variety).toBe('sheet-letter');
    // ASME Y14.1: the page is 215.9 mm wide, 1100 px here.
    expect((scale!.mmPerPx * 1100) / 215.9).toBeCloseTo(1, 2);
  });

  it('as PDF has one page of true size', async () => {
    const pdf = await PDFDocument.load(await sheetPdf('a4'));
    expect(pdf.getPageCount()).toBe(1);
    // ISO 216: 210 × 297 mm; 72 points an inch.
    expect(pdf.getPage(0).getWidth()).toBeCloseTo((210 / 25.4) * 72, 3);
    expect(pdf.getPage(0).getHeight()).toBeCloseTo((297 / 25.4) * 72, 3);
  });
});
