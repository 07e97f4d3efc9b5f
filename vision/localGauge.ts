import type { LatticeFit } from './fitLattice.ts';
import type { LocalGauge } from './measurement.ts';
import type { Rectified } from './rectify.ts';
import type { Point } from './types.ts';

/** Gauge by parts of the cloth: a 5 × 5 grid over the counted stitches and rows. */
export function localGauge(lattice: LatticeFit, flat: Rectified, toPhoto: (p: Point) => Point): LocalGauge[] {
  const places = lattice.places.map((p) => ({
    ...p,
    s: lattice.stitchPhaseAt(p.x, p.y),
    r: lattice.rowPhaseAt(p.x, p.y),
  }));
  const low = { s: Math.min(...places.map((p) => p.s)), r: Math.min(...places.map((p) => p.r)) };
  const span = {
    s: Math.max(...places.map((p) => p.s)) - low.s || 1,
    r: Math.max(...places.map((p) => p.r)) - low.r || 1,
  };
  const bins = new Map<number, typeof places>();
  for (const place of places) {
    const i = Math.min(4, Math.floor((5 * (place.s - low.s)) / span.s));
    const j = Math.min(4, Math.floor((5 * (place.r - low.r)) / span.r));
    bins.set(5 * j + i, [...(bins.get(5 * j + i) ?? []), place]);
  }
  return [...bins.values()].map((bin) => {
    const trust = bin.reduce((s, p) => s + p.trust, 0);
    const average = (value: (p: (typeof places)[number]) => number) =>
      bin.reduce((s, p) => s + p.trust * value(p), 0) / trust;
    const centre = { x: average((p) => p.x), y: average((p) => p.y) };
    const cell = lattice.cellAt(centre.x, centre.y);
    return {
      centrePx: toPhoto(centre),
      stitchesPer10cm: flat.pxPerMm && (100 * flat.pxPerMm) / cell.stitchPitchPx,
      rowsPer10cm: flat.pxPerMm && (100 * flat.pxPerMm) / cell.rowPitchPx,
      stitchPitchPx: cell.stitchPitchPx,
      rowPitchPx: cell.rowPitchPx,
      alongRows: (average((p) => p.r) - low.r) / span.r,
      acrossStitches: (average((p) => p.s) - low.s) / span.s,
      trust: trust / bin.length,
    };
  });
}
