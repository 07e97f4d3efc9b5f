import { cv, rgbToMat, withMats, type Mat, type MatVector } from '../cv.ts';
import type { Point, RgbImage } from '../types.ts';
import { contourHulls } from './contourHulls.ts';
import { fourLongestSides } from './fourLongestSides.ts';
import type { Quad } from './geometry.ts';

/** Colour steps that end a region, grey levels over two pixels: faint ones first. */
const STEPS = [10, 20, 40] as const;

/**
 * Quadrilaterals around even patches of the picture. On cloth, carpet or checks, where edges lie everywhere, a
 * card is the largest thing without any.
 *
 * A patch's convex hull is cut to its four longest sides, so that a corner may be covered.
 *
 * @param rgb a reduced picture
 * @param minSidePx shortest side of what is looked for
 * @returns clockwise quadrilaterals in px of `rgb`, about a pixel inside the patch's edge
 */
export function evenRegions(rgb: RgbImage, minSidePx: number): Quad[] {
  const found: Quad[] = [];
  const steps = stepSizes(rgb);
  for (const limit of STEPS) {
    for (const hull of hullsOf(steps, rgb, limit, minSidePx)) {
      const quad = fourLongestSides(hull);
      if (quad) found.push(quad);
    }
  }
  return found;
}

/** Largest colour step over two pixels, across and down, capped at 255. */
function stepSizes(rgb: RgbImage): Uint8Array {
  const { widthPx: w, heightPx: h } = rgb;
  const data = withMats((keep) => {
    const source = keep(rgbToMat(rgb));
    const out = keep<Mat>(new cv.Mat());
    cv.GaussianBlur(source, out, new cv.Size(3, 3), 0.8, 0.8, cv.BORDER_REPLICATE);
    return out.data.slice();
  });
  const steps = new Uint8Array(w * h).fill(255);
  for (let y = 1; y < h - 1; y++) {
    for (let x = 1, i = y * w + 1, j = 3 * i; x < w - 1; x++, i++, j += 3) {
      let across = 0;
      let down = 0;
      for (let c = 0; c < 3; c++) {
        const dx = data[j + 3 + c]! - data[j - 3 + c]!;
        const dy = data[j + 3 * w + c]! - data[j - 3 * w + c]!;
        across += dx * dx;
        down += dy * dy;
      }
      steps[i] = Math.min(255, Math.sqrt(across + down));
    }
  }
  return steps;
}

function hullsOf(steps: Uint8Array, rgb: RgbImage, limit: number, minSidePx: number): Point[][] {
  const { widthPx: w, heightPx: h } = rgb;
  return withMats((keep) => {
    const mask = keep<Mat>(new cv.Mat(h, w, cv.CV_8UC1));
    markEven(steps, limit, mask.data);
    const contours = keep<MatVector>(new cv.MatVector());
    // Inner contours as well: an even table surrounds everything that lies on it.
    cv.findContours(mask, contours, keep<Mat>(new cv.Mat()), cv.RETR_LIST, cv.CHAIN_APPROX_SIMPLE);
    // A card fills its hull; the gaps between things do not.
    return contourHulls(
      contours,
      { leastAreaPx: 0.8 * minSidePx * minSidePx, mostAreaPx: 0.5 * w * h, leastFill: 0.8, tolerance: 0.012 },
      keep,
    ).map(({ points }) => points);
  });
}

function markEven(steps: Uint8Array, limit: number, to: Uint8Array): void {
  for (let i = 0; i < steps.length; i++) to[i] = steps[i]! < limit ? 255 : 0;
}
