import type { LatticeFit } from './fitLattice.ts';
import type { Point } from './types.ts';

/** Boundaries between rows and between stitches as polylines in picture pixels, in counting order. */
export interface OverlayLines {
  rowLines: Point[][];
  stitchLines: Point[][];
}

/** More lines than this only grey the picture over. */
const MOST_LINES = 400;

/**
 * Traces the fitted lattice over the cloth: one polyline for every whole turn of either phase.
 *
 * Each line is followed in steps of a stitch (or row) and kept where there is cloth.
 */
export function overlayLines(lattice: LatticeFit): OverlayLines {
  const phases = lattice.places.map((p) => ({
    p,
    s: lattice.stitchPhaseAt(p.x, p.y),
    r: lattice.rowPhaseAt(p.x, p.y),
  }));
  const range = (values: number[]) => ({
    low: Math.floor(Math.min(...values)) - 1,
    high: Math.ceil(Math.max(...values)) + 1,
  });
  const s = range(phases.map((q) => q.s));
  const r = range(phases.map((q) => q.r));
  if (s.high - s.low > MOST_LINES || r.high - r.low > MOST_LINES) return { rowLines: [], stitchLines: [] };
  const trace = (kind: 'row' | 'stitch', phase: number): Point[] => {
    const [low, high] = kind === 'row' ? [s.low, s.high] : [r.low, r.high];
    const nearest = phases.reduce((a, b) =>
      Math.abs((kind === 'row' ? a.r : a.s) - phase) <= Math.abs((kind === 'row' ? b.r : b.s) - phase)
        ? a
        : b,
    );
    const line: Point[] = [];
    let from: Point = nearest.p;
    // Out from the surest place both ways, so that each step starts close to its answer.
    const start = Math.round(kind === 'row' ? nearest.s : nearest.r);
    const visit = (along: number, add: (p: Point) => void) => {
      const p = kind === 'row' ? lattice.locate(along, phase, from) : lattice.locate(phase, along, from);
      if (!Number.isFinite(p.x) || !Number.isFinite(p.y)) return false;
      from = p;
      if (lattice.clothAt(p.x, p.y) > 0.4) add(p);
      return true;
    };
    for (let t = start; t <= high; t++) if (!visit(t, (p) => line.push(p))) break;
    from = nearest.p;
    for (let t = start - 1; t >= low; t--) if (!visit(t, (p) => line.unshift(p))) break;
    return line;
  };
  const lines = (kind: 'row' | 'stitch', { low, high }: { low: number; high: number }) => {
    const out: Point[][] = [];
    for (let n = low; n <= high; n++) {
      const line = trace(kind, n);
      if (line.length >= 3) out.push(line);
    }
    return out;
  };
  return { rowLines: lines('row', r), stitchLines: lines('stitch', s) };
}
