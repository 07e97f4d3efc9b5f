import type { LatticeFit } from '../../vision/fitLattice.ts';

/** What is left out is a lattice without a fault: 100 × 80 px of cloth, stitches 10 px wide, rows 8 px high. */
export interface EvenLatticeOptions {
  stitchPitchPx?: number;
  rowPitchPx?: number;
  /** The cloth, picture pixels. */
  cloth?: { left: number; top: number; right: number; bottom: number };
  quality?: Partial<LatticeFit['quality']>;
  rivals?: LatticeFit['rivals'];
  looksLike?: LatticeFit['looksLike'];
}

/** A perfectly even, upright lattice: stitches to the right, rows counted upward, as `fitLattice` counts them. */
export function evenLattice(options: EvenLatticeOptions = {}): LatticeFit {
  const { stitchPitchPx = 10, rowPitchPx = 8 } = options;
  const cloth = options.cloth ?? { left: 50, top: 40, right: 150, bottom: 120 };
  const places: LatticeFit['places'] = [];
  for (let y = cloth.top + rowPitchPx / 2; y < cloth.bottom; y += rowPitchPx) {
    for (let x = cloth.left + stitchPitchPx / 2; x < cloth.right; x += stitchPitchPx) {
      places.push({ x, y, trust: 1 });
    }
  }
  const stitches = (cloth.right - cloth.left) / stitchPitchPx;
  const rows = (cloth.bottom - cloth.top) / rowPitchPx;
  return {
    stitchPhaseAt: (x) => (x - cloth.left) / stitchPitchPx,
    rowPhaseAt: (_x, y) => (cloth.bottom - y) / rowPitchPx,
    cellAt: () => ({ stitchPitchPx, rowPitchPx, stitchAngleDeg: 0, rowAngleDeg: -90 }),
    locate: (stitch, row) => ({
      x: cloth.left + stitch * stitchPitchPx,
      y: cloth.bottom - row * rowPitchPx,
    }),
    places,
    clothAt: (x, y) => (x >= cloth.left && x <= cloth.right && y >= cloth.top && y <= cloth.bottom ? 1 : 0),
    outlinePx: null,
    bounds: {
      left: cloth.left - 20,
      top: cloth.top - 20,
      width: cloth.right - cloth.left + 40,
      height: cloth.bottom - cloth.top + 40,
    },
    quality: {
      stitchAgreement: 1,
      rowAgreement: 1,
      stitchResidualTurns: 0,
      rowResidualTurns: 0,
      stitchAmplitude: 1,
      rowAmplitude: 1,
      stitchRelativeUncertainty: 0,
      rowRelativeUncertainty: 0,
      stitchDisagreement: 0,
      rowDisagreement: 0,
      repeats: { stitches, rows },
      ...options.quality,
    },
    looksLike: options.looksLike ?? [{ stitch: 'sc', weight: 1 }],
    rivals: options.rivals ?? [],
  };
}
