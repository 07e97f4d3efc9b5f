import { describe, expect, it } from 'vitest';
import { Rng } from '../../fixtures/scene/rng.ts';
import { findPapers } from '../../vision/scale/findPaper.ts';
import { contains, type Quad } from '../../vision/scale/geometry.ts';
import { undistort } from '../../vision/scale/lens.ts';
import { workAbove } from '../../vision/scale/workHeight.ts';
import type { DecodedPhoto, Point } from '../../vision/types.ts';

const PX_PER_MM = 1.6;
/** An A4 sheet seen straight from above, wholly in view. */
const sheetAt = (left: number, top: number, pxPerMm = PX_PER_MM): Quad => [
  { x: left, y: top },
  { x: left + 297 * pxPerMm, y: top },
  { x: left + 297 * pxPerMm, y: top + 210 * pxPerMm },
  { x: left, y: top + 210 * pxPerMm },
];

/** Levels of table, paper and cloth, where `paints` says which is seen at a place. */
function photoOf(
  widthPx: number,
  heightPx: number,
  paints: (p: Point) => 'table' | 'paper' | 'cloth',
): { photo: DecodedPhoto; sight: Parameters<typeof findPapers>[1]['sight'] } {
  const rng = new Rng(1, 'paper');
  const data = new Uint8Array(3 * widthPx * heightPx);
  const levels = { table: [120, 100, 80], paper: [225, 225, 222], cloth: [40, 60, 150] };
  for (let y = 0, i = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      const level = levels[paints({ x, y })];
      const noise = rng.float(-2, 2);
      for (let c = 0; c < 3; c++) data[i++] = level[c]! + noise;
    }
  const rgb = { widthPx, heightPx, data };
  // what the network would say of it
  const scale = 384 / Math.max(widthPx, heightPx);
  const map = { widthPx: Math.round((widthPx * scale) / 2), heightPx: Math.round((heightPx * scale) / 2) };
  const none = new Float32Array(map.widthPx * map.heightPx);
  const paper = none.map((_, i) => {
    const at = { x: (2 * (i % map.widthPx) + 1) / scale, y: (2 * Math.floor(i / map.widthPx) + 1) / scale };
    return paints(at) === 'paper' ? 0.98 : 0.02;
  });
  return {
    photo: { rgb, gray: rgb, focalLength35mm: 26, decodeScale: 1 } as unknown as DecodedPhoto,
    sight: {
      scale,
      maps: { ...map, shows: { table: none, card: none, paper, ruler: none, cloth: none }, withinCard: none },
    },
  };
}

describe('a sheet of paper', () => {
  it('is measured by three sides, doubtfully, where cloth lies over the fourth', () => {
    const sheet = sheetAt(150, 130);
    const { photo, sight } = photoOf(900, 620, (p) =>
      // askew over most of the right side
      p.x > 585 + 0.12 * (p.y - 130) && p.x < 860 && p.y > 90 && p.y < 400
        ? 'cloth'
        : contains(sheet, p)
          ? 'paper'
          : 'table',
    );
    const [found] = findPapers(photo, { workHeightMm: workAbove(0.1), paperSize: 'a4', sight });
    expect(found!.confidence).toBeGreaterThan(0.5);
    expect(found!.confidence).toBeLessThanOrEqual(0.6);
    const wide = Math.hypot(found!.quad[1].x - found!.quad[0].x, found!.quad[1].y - found!.quad[0].y);
    expect(Math.abs(wide / (297 * PX_PER_MM) - 1)).toBeLessThan(0.02);
  });

  it('is found where a wide picture bends its sides by more than a few pixels', () => {
    const size = { widthPx: 2800, heightPx: 2100 };
    const k1 = -0.028;
    const sheet = sheetAt(290, 265, 7.5);
    const { photo, sight } = photoOf(size.widthPx, size.heightPx, (p) =>
      contains(sheet, undistort(p, size, k1)) ? 'paper' : 'table',
    );
    const [found] = findPapers(photo, { workHeightMm: workAbove(0.1), paperSize: 'a4', sight });
    expect(found!.confidence).toBeGreaterThan(0.8);
    expect(Math.abs(found!.fits[0]!.pose.k1 - k1)).toBeLessThan(0.006);
  });
});
