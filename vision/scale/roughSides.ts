import type { EdgePoint } from './edgeFit.ts';
import { medianOf } from './ruler/readTicks.ts';

/**
 * Up to this many times their own uncertainty, points may lie off a straight line by chance; what is uncertain beyond this
 * (px) is which of two edges is the card's, and that moves all alike.
 */
const BY_CHANCE = 1.5;
const MOST_APART_PX = 0.25;
/**
 * A side whose points scatter is mostly partly the edge of something else, and as a whole off by several times the
 * scatter: cloth over a card's corner had turned a side by 13 px whose points scattered by 1 px. On development scenes.
 */
const TIMES_SCATTER = 3;
/** Beyond this scatter, px, it is another thing's edge rather than partly one, and may lie off by many times that. */
const OTHER_EDGE_PX = 0.2;

/**
 * Edge points with what their own side's straightness says of them: where they lie off a straight line by more than
 * they claim, the whole side may be that much off and more, in place and direction.
 */
export function roughSides(edges: readonly EdgePoint[]): EdgePoint[] {
  const scatter = new Map<number, number>();
  for (const side of new Set(edges.map((e) => e.side)))
    scatter.set(side, excessScatter(edges.filter((e) => e.side === side)));
  return edges.map((e) => {
    const members = edges.filter((o) => o.side === e.side).length;
    const rough = scatter.get(e.side)!;
    // so that their mean is as uncertain as the side
    const alike = TIMES_SCATTER * rough * Math.max(1, rough / OTHER_EDGE_PX) * Math.sqrt(members);
    return { ...e, sigmaPx: Math.hypot(e.sigmaPx, alike) };
  });
}

/** Scatter about a straight line beyond what the points claim, px (median slope: H. Theil, 1950; P. K. Sen, 1968). */
function excessScatter(points: readonly EdgePoint[]): number {
  if (points.length < 4) return 0;
  const [a, b] = [points[0]!.point, points[points.length - 1]!.point];
  const length = Math.hypot(b.x - a.x, b.y - a.y) || 1;
  const u = { x: (b.x - a.x) / length, y: (b.y - a.y) / length };
  const at = points.map(({ point: p }) => ({
    along: (p.x - a.x) * u.x + (p.y - a.y) * u.y,
    across: -(p.x - a.x) * u.y + (p.y - a.y) * u.x,
  }));
  const slopes = at.flatMap((p, i) =>
    at.slice(i + 1).map((q) => (q.across - p.across) / (q.along - p.along || 1)),
  );
  const slope = medianOf(slopes);
  const rest = at.map((p) => p.across - slope * p.along);
  const middle = medianOf(rest);
  const off = rest.map((v) => Math.abs(v - middle)).sort((p, q) => p - q);
  // as a normal distribution's standard deviation: most points, or a fifth of them, by more than chance
  const spread = Math.max(1.4826 * medianOf(off), off[Math.floor(0.8 * (off.length - 1))]! / 1.2816);
  const alone = medianOf(points.map((p) => Math.min(MOST_APART_PX, p.sigmaPx)));
  return Math.max(0, spread - BY_CHANCE * alone);
}
