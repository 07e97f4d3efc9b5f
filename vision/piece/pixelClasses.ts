import { cv, rgbToMat, type Mat, withMats } from '../cv.ts';
import type { RgbImage } from '../types.ts';

/** Most that the class of one pixel may say for or against, in nats. */
export const MOST_SAID = 2.5;

/** A picture sorted into a few dozen classes of look: colour, and how busy the place is. */
export interface PixelClasses {
  widthPx: number;
  heightPx: number;
  /** Class of each pixel. */
  classOf: Uint8Array;
  count: number;
}

/** Weights of the features: L, a, b (all 0…255), and the spread of L close by and farther about. */
const WEIGHTS = [0.8, 1.6, 1.6, 1.3, 1.3] as const;
const FEATURES = WEIGHTS.length;
/** Pixels that the classes are learnt from. */
const SAMPLE = 6000;

/**
 * Sorts the pixels of a picture into `count` classes by k-means over colour and local contrast.
 *
 * k-means++: D. Arthur and S. Vassilvitskii, SODA 2007 (as in OpenCV).
 *
 * @param nearPx, farPx radii of the two windows of local contrast; 0 leaves one out
 * @param where only pixels that are not 0 here; the others get class 0
 */
export function pixelClasses(
  rgb: RgbImage,
  options: { count: number; nearPx: number; farPx: number; where?: Uint8Array },
): PixelClasses {
  const { count, nearPx, farPx, where } = options;
  const { widthPx, heightPx } = rgb;
  const n = widthPx * heightPx;
  const features = featuresOf(rgb, nearPx, farPx, where);
  const chosen: number[] = [];
  if (where) for (let i = 0; i < n; i++) if (where[i]) chosen.push(i);
  const total = where ? chosen.length : n;
  const every = Math.max(1, Math.floor(total / SAMPLE));
  const centres = withMats((keep) => {
    const rows = Math.floor((total - 1) / every) + 1;
    const data = keep<Mat>(new cv.Mat(rows, FEATURES, cv.CV_32FC1));
    const into = data.data32F;
    for (let i = 0; i < rows; i++) {
      const from = where ? chosen[i * every]! : i * every;
      for (let f = 0; f < FEATURES; f++) into[FEATURES * i + f] = features[FEATURES * from + f]!;
    }
    const labels = keep<Mat>(new cv.Mat());
    const found = keep<Mat>(new cv.Mat());
    const stop = new cv.TermCriteria(cv.TermCriteria_EPS + cv.TermCriteria_MAX_ITER, 12, 0.5);
    cv.setRNGSeed(1);
    cv.kmeans(data, Math.min(count, rows), labels, stop, 1, cv.KMEANS_PP_CENTERS, found);
    return Float32Array.from(found.data32F);
  });
  const k = centres.length / FEATURES;
  const classOf = new Uint8Array(n);
  for (let i = 0; i < n; i++) {
    if (where && !where[i]) continue;
    let best = Infinity;
    const at = FEATURES * i;
    for (let c = 0; c < k; c++) {
      let d = 0;
      for (let f = 0; f < FEATURES && d < best; f++) {
        const e = features[at + f]! - centres[FEATURES * c + f]!;
        d += e * e;
      }
      if (d < best) {
        best = d;
        classOf[i] = c;
      }
    }
  }
  return { widthPx, heightPx, classOf, count: k };
}

function featuresOf(
  rgb: RgbImage,
  nearPx: number,
  farPx: number,
  where: Uint8Array | undefined,
): Float32Array {
  const { widthPx, heightPx } = rgb;
  const n = widthPx * heightPx;
  return withMats((keep) => {
    const source = keep(rgbToMat(rgb));
    const lab = keep<Mat>(new cv.Mat());
    cv.cvtColor(source, lab, cv.COLOR_RGB2Lab);
    const out = new Float32Array(FEATURES * n);
    const light = keep<Mat>(new cv.Mat(heightPx, widthPx, cv.CV_32FC1));
    const lightData = light.data32F;
    const labData = lab.data;
    for (let i = 0; i < n; i++) {
      lightData[i] = labData[3 * i]!;
      if (where && !where[i]) continue;
      for (let c = 0; c < 3; c++) out[FEATURES * i + c] = WEIGHTS[c]! * labData[3 * i + c]!;
    }
    const squared = keep<Mat>(new cv.Mat());
    cv.multiply(light, light, squared);
    [nearPx, farPx].forEach((radius, which) => {
      if (radius <= 0) return;
      const size = new cv.Size(2 * radius + 1, 2 * radius + 1);
      const mean = keep<Mat>(new cv.Mat());
      const meanSquare = keep<Mat>(new cv.Mat());
      const anchor = new cv.Point(-1, -1);
      cv.boxFilter(light, mean, -1, size, anchor, true, cv.BORDER_REFLECT);
      cv.boxFilter(squared, meanSquare, -1, size, anchor, true, cv.BORDER_REFLECT);
      const weight = WEIGHTS[3 + which]!;
      const m = mean.data32F;
      const q = meanSquare.data32F;
      for (let i = 0; i < n; i++) {
        if (where && !where[i]) continue;
        const spread = Math.sqrt(Math.max(0, q[i]! - m[i]! * m[i]!));
        // Twice the contrast is the same step up, whether of faint or of strong texture.
        out[FEATURES * i + 3 + which] = weight * 26 * Math.log2(1 + spread / 4);
      }
    });
    return out;
  });
}
