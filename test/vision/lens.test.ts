import { describe, expect, it } from 'vitest';
import { cameraFrom, type CameraSpec } from '../../fixtures/scene/camera.ts';
import { focalHypotheses } from '../../vision/scale/camera.ts';
import type { EdgePoint } from '../../vision/scale/edgeFit.ts';
import { rectangleTo, type Quad } from '../../vision/scale/geometry.ts';
import { fitPose, rectangleLines, type PoseFit } from '../../vision/scale/poseFit.ts';
import type { DecodedPhoto } from '../../vision/types.ts';

const SIZE = { widthPx: 2000, heightPx: 1500 };

/** Photo that is looked at only for its size and its EXIF. */
const photoWith = (focalLength35mm: number | null) =>
  ({ rgb: { ...SIZE, data: new Uint8Array(0) }, focalLength35mm }) as unknown as DecodedPhoto;

/** A rectangle of known size in the middle of the table, its sides found without error, and the pose that fits. */
function poseOf(options: {
  camera: Partial<CameraSpec>;
  widthMm: number;
  heightMm: number;
  exifFocal35mm: number | null;
  sigmaPx: number;
}): PoseFit {
  const { widthMm, heightMm, sigmaPx } = options;
  const camera = cameraFrom(
    {
      tiltDeg: 20,
      tiltAzimuthDeg: 70,
      rollDeg: 8,
      focal35mm: 26,
      distanceMm: 400,
      lookAtMm: { x: 0, y: 0 },
      radialDistortion: 0,
      ...options.camera,
    },
    SIZE.widthPx,
    SIZE.heightPx,
  );
  const corners = [
    [-1, -1],
    [1, -1],
    [1, 1],
    [-1, 1],
  ].map(([i, j]) => ({ x: (i! * widthMm) / 2, y: (j! * heightMm) / 2 }));
  const edges: EdgePoint[] = corners.flatMap((a, side) => {
    const b = corners[(side + 1) % 4]!;
    return Array.from({ length: 8 }, (_, k) => {
      const t = (k + 0.5) / 8;
      return { side, point: camera.project(a.x + t * (b.x - a.x), a.y + t * (b.y - a.y), 0), sigmaPx };
    });
  });
  const seen = corners.map((p) => camera.project(p.x, p.y, 0)) as Quad;
  const fits = focalHypotheses(photoWith(options.exifFocal35mm)).map((logFocal) => ({
    logFocal,
    pose: fitPose({
      size: SIZE,
      lines: rectangleLines(widthMm, heightMm),
      start: rectangleTo(seen, widthMm, heightMm),
      edges,
      logFocal,
      k1: { mean: -0.002, sd: 0.011 },
      workHeightMm: { mean: 0, sd: 0 },
      sizeSd: 0,
    })!,
  }));
  fits.sort((f, g) => f.pose.chiSquare + f.logFocal.penalty - (g.pose.chiSquare + g.logFocal.penalty));
  return fits[0]!.pose;
}

/** A sheet of A4 fills the picture; an ID-1 card seen from far is small in it. */
const SHEET = { widthMm: 297, heightMm: 210, sigmaPx: 0.1 };
const CARD = { widthMm: 85.6, heightMm: 53.98, sigmaPx: 0.3 };

describe('lens distortion', () => {
  it.each([-0.03, -0.01, 0.02])('is read off a large sheet: k1 = %d', (radialDistortion) => {
    const pose = poseOf({ ...SHEET, camera: { radialDistortion }, exifFocal35mm: null });
    expect(Math.abs(pose.k1 - radialDistortion)).toBeLessThan(0.002);
    expect(pose.k1Sd).toBeLessThan(0.003);
  });

  it('stays what is believed of phones where the reference is too small to tell', () => {
    const camera = { radialDistortion: -0.03, distanceMm: 700 };
    const pose = poseOf({ ...CARD, camera, exifFocal35mm: null });
    expect(pose.k1Sd).toBeGreaterThan(0.008);
    expect(Math.abs(pose.k1 - -0.002)).toBeLessThan(0.011);
  });
});

describe('the focal length in EXIF', () => {
  const tiltError = (pose: PoseFit, trueDeg = 20): number => Math.abs(pose.tiltDeg - trueDeg);

  it('helps a small card to its tilt', () => {
    const camera = { focal35mm: 50, distanceMm: 900 };
    const told = poseOf({ ...CARD, camera, exifFocal35mm: 50 });
    const untold = poseOf({ ...CARD, camera, exifFocal35mm: null });
    expect(tiltError(told)).toBeLessThan(1);
    expect(told.relativeUncertaintyAt({ x: 400, y: 300 })).toBeLessThanOrEqual(
      untold.relativeUncertaintyAt({ x: 400, y: 300 }),
    );
  });

  it('is overruled where a large sheet shows that it lies', () => {
    // A crop keeps the EXIF of the whole: here the picture really has 26 mm, and the file says 45.
    const pose = poseOf({ ...SHEET, camera: { focal35mm: 26, tiltDeg: 30 }, exifFocal35mm: 45 });
    const truePx = (26 / Math.hypot(36, 24)) * Math.hypot(SIZE.widthPx, SIZE.heightPx);
    expect(Math.abs(pose.focalPx / truePx - 1)).toBeLessThan(0.02);
    expect(tiltError(pose, 30)).toBeLessThan(0.5);
  });
});
