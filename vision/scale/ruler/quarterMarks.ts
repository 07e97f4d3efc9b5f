import type { GrayImage, Point } from '../../types.ts';
import { toDecodedPx, type Level } from './halve.ts';
import { medianOf, type Tick } from './readTicks.ts';
import type { StraightBand } from './straightenBand.ts';

/** Quarters closer than this, px of the photo, run together. */
const LEAST_QUARTER_PX = 5;
/** Strips looked at from each edge of the thing inwards, and how deep they reach together, shares of its width. */
const STRIPS = 4;
const DEEP = 0.24;
/** Marks as much fainter in a strip than where they are strongest do not reach it. */
const LEAST_OWN = 0.4;

/**
 * How much quarter marks stand out between numbered ones, as a share of the numbered ones' own contrast, where these
 * begin at the thing's edge: no scale of inches goes without quarters, and none of centimetres has them.
 *
 * @param edges rows (px of the level) of the thing's two edges
 * @returns null where they would be too close to be told, or the marks begin at neither edge
 */
export function quarterMarks(
  gray: GrayImage,
  level: Level,
  band: StraightBand,
  ticks: readonly Tick[],
  polarity: 1 | -1,
  edges: readonly [top: number, bottom: number],
): number | null {
  const neighbours = ticks.slice(1).flatMap((t, i) => {
    const from = ticks[i]!;
    return t.index - from.index === 1 ? [{ from: from.along, pitch: t.along - from.along }] : [];
  });
  const pitch = medianOf(neighbours.map((n) => n.pitch));
  if (!((pitch * level.factor) / 4 >= LEAST_QUARTER_PX)) return null;
  const width = edges[1] - edges[0];
  const step = 1 / level.factor;
  const contrast = (fraction: number, from: number, to: number): number => {
    const values = neighbours.map((n) => {
      const meanAt = (...offsets: number[]): number => {
        let sum = 0;
        let count = 0;
        for (const offset of offsets)
          for (let v = from; v <= to; v += step) {
            const p = band.toPoint(n.from + (fraction + offset) * n.pitch, v);
            sum += valueAt(gray, { x: toDecodedPx(level, p.x), y: toDecodedPx(level, p.y) });
            count++;
          }
        return sum / count;
      };
      return polarity * (meanAt(-0.03, 0, 0.03) - meanAt(-0.14, -0.11, 0.11, 0.14));
    });
    return medianOf(values.filter((v) => !Number.isNaN(v)));
  };
  const strip = (DEEP * width) / STRIPS;
  const looks = [edges[0], edges[1] - DEEP * width].map((start) =>
    Array.from({ length: STRIPS }, (_, i) => {
      const from = start + i * strip;
      return {
        own: contrast(0, from, from + strip),
        quarters: Math.max(contrast(0.25, from, from + strip), contrast(0.75, from, from + strip)),
      };
    }),
  );
  const strongest = Math.max(...looks.flat().map((l) => l.own));
  // marks begin at one edge; those of the other edge, if any, lie elsewhere along
  const side = looks.map((l) => l.reduce((s, { own }) => s + own, 0));
  const clear = looks[side[0]! > side[1]! ? 0 : 1]!.filter((l) => l.own > LEAST_OWN * strongest);
  if (!(strongest > 0) || clear.length === 0) return null;
  return Math.max(...clear.map((l) => l.quarters / l.own));
}

/** Bilinear; NaN outside the picture. */
function valueAt({ data, widthPx, heightPx }: GrayImage, { x, y }: Point): number {
  if (!(x >= 0 && y >= 0 && x < widthPx - 1 && y < heightPx - 1)) return NaN;
  const i = Math.floor(y) * widthPx + Math.floor(x);
  const [u, v] = [x - Math.floor(x), y - Math.floor(y)];
  const top = data[i]! * (1 - u) + data[i + 1]! * u;
  const bottom = data[i + widthPx]! * (1 - u) + data[i + widthPx + 1]! * u;
  return top * (1 - v) + bottom * v;
}
