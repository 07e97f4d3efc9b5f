import { cv, withMats, type Mat, type MatVector } from '../cv.ts';
import { distance } from '../scale/geometry.ts';
import type { Point } from '../types.ts';
import { mapIndexAt, mapToPhoto } from './mapPlaces.ts';
import { rulerBodies, type RulerBody } from './rulerBodies.ts';
import type { Sight } from './sightCards.ts';
import { markAbove } from './markAbove.ts';

/** Where the network sees rulers and tapes. */
export interface SightedRulers {
  /** Straight parts of their outlines, decoded px; a bent tape has several. */
  edges: { middle: Point; angle: number; lengthPx: number }[];
  /** Whether a ruler or tape is seen at a decoded pixel, or next to it. */
  isAt(p: Point): boolean;
  /** Whether a decoded pixel lies on one, as well as so small a map tells. */
  isOn(p: Point): boolean;
  /** The long ones among them, with their middle lines. */
  bodies(): RulerBody[];
}

/** Odds from which on a place counts; thin things blur into the table at this size. */
const LEAST_ODDS = 0.3;
/** Smallest patch, and shortest straight part of an outline, in shares of the maps' longer side (the patch's, squared). */
const LEAST_AREA = 0.004;
const LEAST_EDGE = 0.08;
/** How far an outline may lie from its straight parts, px of the map. */
const TOLERANCE_PX = 1.2;
/** How far beside a patch still counts, px of the map. */
const BESIDE_PX = 2;

/**
 * Rulers and tapes as the network sees them: where to look for ticks that were not found.
 *
 * @example
 * sightRulers(await sightThings(photo.rgb)).edges[0]; // along one edge of a ruler
 */
export function sightRulers({ maps, scale }: Pick<Sight, 'maps' | 'scale'>): SightedRulers {
  const { widthPx: w, heightPx: h } = maps;
  const { ruler } = maps.shows;
  const longer = Math.max(w, h);
  const edges: SightedRulers['edges'] = [];
  const near = new Uint8Array(w * h);
  withMats((keep) => {
    const mask = keep<Mat>(new cv.Mat(h, w, cv.CV_8UC1));
    markAbove(ruler, LEAST_ODDS, mask.data);
    const side = 2 * BESIDE_PX + 1;
    const kernel = keep<Mat>(cv.getStructuringElement(cv.MORPH_ELLIPSE, new cv.Size(side, side)));
    const wider = keep<Mat>(new cv.Mat());
    cv.dilate(mask, wider, kernel);
    near.set(wider.data);
    const contours = keep<MatVector>(new cv.MatVector());
    cv.findContours(mask, contours, keep<Mat>(new cv.Mat()), cv.RETR_EXTERNAL, cv.CHAIN_APPROX_NONE);
    const polygon = keep<Mat>(new cv.Mat());
    const count = contours.size();
    for (let k = 0; k < count; k++) {
      const contour = contours.get(k);
      if (cv.contourArea(contour) > LEAST_AREA * longer * longer) {
        cv.approxPolyDP(contour, polygon, TOLERANCE_PX, true);
        const xy = polygon.data32S;
        const at = (i: number): Point => {
          const j = 2 * (i % polygon.rows);
          return mapToPhoto({ x: xy[j]!, y: xy[j + 1]! }, scale);
        };
        for (let i = 0; i < polygon.rows; i++) {
          const [a, b] = [at(i), at(i + 1)];
          const lengthPx = distance(a, b);
          if (lengthPx < (2 * LEAST_EDGE * longer) / scale) continue;
          edges.push({
            middle: { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 },
            angle: Math.atan2(b.y - a.y, b.x - a.x),
            lengthPx,
          });
        }
      }
      contour.delete();
    }
  });
  return {
    edges: edges.sort((p, q) => q.lengthPx - p.lengthPx),
    isAt: (p) => {
      const at = mapIndexAt(maps, scale, p);
      return at >= 0 && near[at]! > 0;
    },
    isOn: (p) => {
      const at = mapIndexAt(maps, scale, p);
      return at >= 0 && ruler[at]! > LEAST_ODDS;
    },
    bodies: () => rulerBodies({ maps, scale }, LEAST_ODDS),
  };
}
