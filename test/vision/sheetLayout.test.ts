import { describe, expect, it } from 'vitest';
import { SHEET_PAGES, sheetLayout } from '../../vision/scale/sheetLayout.ts';

describe.each(SHEET_PAGES)('sheetLayout(%s)', (page) => {
  const sheet = sheetLayout(page);

  it('keeps every mark inside the margin that home printers need', () => {
    const marks = [
      ...sheet.fiducials.flatMap((f) => f.cornersMm),
      ...sheet.lines.flatMap((l) => [l.fromMm, l.toMm]),
      { x: sheet.cardOutline.leftMm, y: sheet.cardOutline.topMm },
      { x: sheet.cardOutline.leftMm + 85.6, y: sheet.cardOutline.topMm + 53.98 },
    ];
    for (const { x, y } of marks) {
      expect(Math.min(x, y, sheet.widthMm - x, sheet.heightMm - y)).toBeGreaterThanOrEqual(8);
    }
  });

  it('leaves the windows and a margin around them free of fiducials', () => {
    const window = sheet.windows[1]!.cornersMm;
    for (const corner of sheet.fiducials.flatMap((f) => f.cornersMm)) {
      const outside = Math.max(
        window[0].x - corner.x,
        corner.x - window[1].x,
        window[0].y - corner.y,
        corner.y - window[2].y,
      );
      expect(outside).toBeGreaterThan(20);
    }
  });

  it('has windows of exactly 10 cm and 4 in and a check line of 100 mm', () => {
    expect(sheet.windows.map((w) => w.cornersMm[1].x - w.cornersMm[0].x)).toEqual([
      expect.closeTo(100, 9),
      expect.closeTo(4 * 25.4, 9),
    ]);
    expect(sheet.checkLine.toMm.x - sheet.checkLine.fromMm.x).toBeCloseTo(100, 9);
  });

  it('frames every fiducial in black so that its outline can be found', () => {
    for (const { cells } of sheet.fiducials) {
      expect(cells).toHaveLength(8);
      const ring = [...cells[0]!, ...cells[7]!, ...cells.map((r) => r[0]!), ...cells.map((r) => r[7]!)];
      expect(ring.every((cell) => cell === 0)).toBe(true);
    }
  });
});

describe('fiducials', () => {
  it('are all different, also when turned, by at least 12 cells', () => {
    // MIP_36h12: "h12" is the least Hamming distance of the published dictionary.
    const all = SHEET_PAGES.flatMap((page) => sheetLayout(page).fiducials);
    const turn = (cells: number[][]): number[][] =>
      cells.map((_, i) => cells.map((row) => row[i]!).reverse());
    for (const a of all) {
      for (const b of all) {
        let turned = b.cells;
        for (let quarter = 0; quarter < 4; quarter++) {
          const distance = a.cells.flat().filter((v, i) => v !== turned.flat()[i]).length;
          if (a !== b || quarter > 0) expect(distance).toBeGreaterThanOrEqual(12);
          turned = turn(turned);
        }
      }
    }
    expect(new Set(all.map((f) => f.id)).size).toBe(24);
  });
});
