import { badOption } from '../badOption.ts';
import type { DecodedPhoto, FindScaleOptions, Matrix3, Point, Scale } from '../types.ts';
import { focalHypotheses, K1_BELIEF } from './camera.ts';
import type { EdgePoint } from './edgeFit.ts';
import { distance, isConvex, mix, rectangleTo, signedArea, type Quad } from './geometry.ts';
import { fitPose, otherTilt, rectangleLines, type PoseFit } from './poseFit.ts';
import { poseSpread } from './poseSpread.ts';
import { scaleFromPose } from './scaleFromPose.ts';
import { assumedHeight, workAbove } from './workHeight.ts';

type Manual = NonNullable<FindScaleOptions['manual']>;

/** How well a maker hits a point with a finger or mouse on a zoomed picture, px (common practice). */
const CLICK_SD_PX = 1.5;
/**
 * Tilt of the camera in makers' photos, root mean square, degrees: two points do not show it, and people hold
 * a phone less level than they think (common practice; photos to be marked by hand are not the best ones).
 */
const UNSEEN_TILT_DEG = 20;
/** The same in either direction, as a sine. */
const TILT_SD = Math.sin((UNSEEN_TILT_DEG * Math.PI) / 180) / Math.SQRT2;

/**
 * The scale that the maker marks by hand: two points and their distance, or the four corners of a rectangle.
 *
 * Two points tell nothing about tilt: the plane is taken as seen straight from above, and what a slight tilt
 * would change is put into the uncertainty.
 *
 * @throws VisionError `bad-option` when the points coincide, cross or lie outside the picture
 * @example
 * manualScale(photo, { type: 'two-points', pointsPx: [{ x: 10, y: 20 }, { x: 910, y: 20 }], lengthMm: 100 });
 */
export function manualScale(photo: DecodedPhoto, manual: Manual): Scale {
  return manual.type === 'two-points' ? fromTwoPoints(photo, manual) : fromRectangle(photo, manual);
}

function fromTwoPoints(photo: DecodedPhoto, manual: Extract<Manual, { type: 'two-points' }>): Scale {
  const [a, b] = manual.pointsPx;
  const lengthPx = distance(a, b);
  checkPositive(manual.lengthMm);
  checkInside(photo, manual.pointsPx);
  if (lengthPx < 10) {
    throw badOption('points-too-close');
  }
  const focalPx = Math.exp(focalHypotheses(photo)[0]!.mean);
  const onFaceMmPerPx = manual.lengthMm / lengthPx;
  // The work lies nearer to the camera than what was marked beside it.
  const relativePerMm = -1 / (focalPx * onFaceMmPerPx);
  const height = workAbove(0);
  const mmPerPx = onFaceMmPerPx * Math.exp(relativePerMm * height.mean);
  const clicks = (Math.SQRT2 * CLICK_SD_PX) / lengthPx;
  const tiltRad = (UNSEEN_TILT_DEG * Math.PI) / 180;
  // A length seen under tilt t is short by cos t at most; half of that at random directions.
  const tilt = (1 - Math.cos(tiltRad)) / 2;
  // Under tilt the scale also changes from place to place: lengths along the tilt as depth², across as depth,
  // depth by tan t × the way along the tilt, which is 1/√2 of the way at random directions.
  const perLength = (lengthPx / focalPx) * Math.tan(tiltRad) * (1.5 / Math.SQRT2);
  const n = { x: (-(b.y - a.y) / lengthPx) * 4, y: ((b.x - a.x) / lengthPx) * 4 };
  return {
    kind: 'manual',
    variety: 'two-points',
    homographyPxToMm: [mmPerPx, 0, 0, 0, mmPerPx, 0, 0, 0, 1],
    homographyCovariance: null,
    mmPerPx,
    tiltDeg: 0,
    relativeUncertainty: Math.hypot(clicks, tilt, relativePerMm * height.sd),
    relativeUncertaintyPerReferenceLength: perLength,
    outlinePx: [
      { x: a.x - n.x, y: a.y - n.y },
      { x: b.x - n.x, y: b.y - n.y },
      { x: b.x + n.x, y: b.y + n.y },
      { x: a.x + n.x, y: a.y + n.y },
    ],
    radialDistortion: null,
    workHeight: { ...assumedHeight(0), relativePerMm },
    confidence: 1,
    advice: [
      {
        code: 'tilt-unknown',
        message:
          'Two points tell the scale but not the tilt: hold the camera straight above, or mark the four corners of something rectangular.',
      },
    ],
  };
}

function fromRectangle(photo: DecodedPhoto, manual: Extract<Manual, { type: 'rectangle' }>): Scale {
  checkPositive(manual.widthMm);
  checkPositive(manual.heightMm);
  checkInside(photo, manual.cornersPx);
  const given = manual.cornersPx;
  const [p0, p1, p2, p3] = given;
  // Corner 0 → 1 is the width whichever way round the corners were marked.
  const quad: Quad = signedArea(given) > 0 ? [p0, p1, p2, p3] : [p1, p0, p3, p2];
  const shortest = Math.min(...quad.map((p, i) => distance(p, quad[(i + 1) % 4]!)));
  if (!isConvex(quad) || shortest < 10) {
    throw badOption('corners-cross');
  }
  const edges: EdgePoint[] = quad.flatMap((p, side) =>
    // Two points a side carry the corners' uncertainty: each corner is shared by two sides.
    [0, 1].map((t) => ({ side, point: mix(p, quad[(side + 1) % 4]!, t), sigmaPx: CLICK_SD_PX })),
  );
  const focals = focalHypotheses(photo);
  const { widthMm, heightMm } = manual;
  const fitted = (start: Matrix3): { pose: PoseFit; cost: number }[] =>
    focals.flatMap((focal) => {
      const pose = fitPose({
        size: photo.rgb,
        lines: rectangleLines(widthMm, heightMm),
        start,
        edges,
        logFocal: focal,
        k1: K1_BELIEF,
        workHeightMm: workAbove(0),
        sizeSd: 0.002,
        tiltSd: TILT_SD,
      });
      return pose ? [{ pose, cost: pose.chiSquare + focal.penalty }] : [];
    });
  const asMarked = fitted(rectangleTo(quad, widthMm, heightMm));
  // From afar a rectangle looks the same when it leans the other way.
  const other = asMarked[0] ? fitted(otherTilt(asMarked[0].pose, photo.rgb, widthMm, heightMm)) : [];
  const fits = [...asMarked, ...other].sort((f, g) => f.cost - g.cost).map((f) => f.pose);
  const pose = fits[0];
  if (!pose || pose.tiltDeg > 70) {
    throw badOption('corners-unlike-size', { widthMm, heightMm });
  }
  const advice =
    pose.rmsPx > 4 * CLICK_SD_PX
      ? [
          {
            code: 'corners-do-not-fit',
            message:
              'The marked corners fit a rectangle of that size badly. Check the size and the order of the corners.',
          },
        ]
      : [];
  return {
    kind: 'manual',
    variety: 'rectangle',
    ...scaleFromPose(
      photo.rgb,
      { ...pose, relativeUncertaintyAt: poseSpread(fits, focals) },
      quad,
      assumedHeight(0),
    ),
    confidence: 1,
    advice,
  };
}

function checkPositive(mm: number): void {
  if (!(mm > 0 && mm < 100_000)) {
    throw badOption('length-senseless');
  }
}

function checkInside(photo: DecodedPhoto, points: readonly Point[]): void {
  const { widthPx, heightPx } = photo.rgb;
  const slack = 0.1 * Math.max(widthPx, heightPx);
  for (const p of points) {
    if (!(p.x >= -slack && p.y >= -slack && p.x <= widthPx + slack && p.y <= heightPx + slack)) {
      throw badOption('point-outside');
    }
  }
}
