import type { LatticeFit } from '../fitLattice.ts';
import type { Point } from '../types.ts';

/** Where the lattice is best known: the mean of its places, each with its trust; picture pixels. */
export function trustedCentre(lattice: LatticeFit): Point {
  const total = lattice.places.reduce((s, p) => s + p.trust, 0);
  return {
    x: lattice.places.reduce((s, p) => s + p.x * p.trust, 0) / total,
    y: lattice.places.reduce((s, p) => s + p.y * p.trust, 0) / total,
  };
}
