import { cv, type Mat, withMats } from '../cv.ts';
import type { Point } from '../types.ts';

/**
 * The largest piece of cloth in a map of where cloth is.
 *
 * @param weight width × height, 0…1; above ½ is cloth
 * @returns its mask, its outline in map pixels and its area in map pixels; null when there is none of note
 */
export function largestPiece(
  weight: Float32Array,
  widthPx: number,
  heightPx: number,
): { inside: Uint8Array; outline: Point[]; area: number } | null {
  return withMats((keep) => {
    const mask = keep<Mat>(new cv.Mat(heightPx, widthPx, cv.CV_8UC1));
    markCloth(weight, mask.data);
    const clean = keep<Mat>(new cv.Mat());
    const disc = keep<Mat>(cv.getStructuringElement(cv.MORPH_ELLIPSE, new cv.Size(7, 7)));
    cv.morphologyEx(mask, clean, cv.MORPH_CLOSE, disc);
    cv.morphologyEx(clean, clean, cv.MORPH_OPEN, disc);
    const contours = keep(new cv.MatVector());
    const tree = keep<Mat>(new cv.Mat());
    cv.findContours(clean, contours, tree, cv.RETR_EXTERNAL, cv.CHAIN_APPROX_NONE);
    let best: Mat | null = null;
    let area = 0;
    for (let i = 0; i < contours.size(); i++) {
      const contour = keep<Mat>(contours.get(i));
      const a = cv.contourArea(contour) as number;
      if (a > area) {
        area = a;
        best = contour;
      }
    }
    if (!best || area < 64) return null;
    const filled = keep<Mat>(new cv.Mat(heightPx, widthPx, cv.CV_8UC1, new cv.Scalar(0)));
    const one = keep(new cv.MatVector());
    one.push_back(best);
    cv.drawContours(filled, one, 0, new cv.Scalar(255), -1);
    const simple = keep<Mat>(new cv.Mat());
    cv.approxPolyDP(best, simple, 1.2, true);
    const outline: Point[] = [];
    for (let i = 0; i < simple.rows; i++) {
      outline.push({ x: simple.data32S[2 * i], y: simple.data32S[2 * i + 1] });
    }
    return { inside: filled.data.slice(), outline, area };
  });
}

function markCloth(weight: Float32Array, to: Uint8Array): void {
  for (let i = 0; i < weight.length; i++) to[i] = weight[i] > 0.5 ? 255 : 0;
}
