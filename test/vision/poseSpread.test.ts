import { describe, expect, it } from 'vitest';
import { cameraFrom } from '../../fixtures/scene/camera.ts';
import { Rng } from '../../fixtures/scene/rng.ts';
import { centroid, distance } from '../../vision/scale/geometry.ts';
import { mmPerPxAt } from '../../vision/scale/lens.ts';
import { focalHypotheses, K1_BELIEF } from '../../vision/scale/camera.ts';
import { rectangleTo, mix, type Quad } from '../../vision/scale/geometry.ts';
import { manualScale } from '../../vision/scale/manualScale.ts';
import { fitPose, rectangleLines } from '../../vision/scale/poseFit.ts';
import { poseSpread } from '../../vision/scale/poseSpread.ts';
import type { DecodedPhoto, Point } from '../../vision/types.ts';

const SIZE = { widthPx: 2000, heightPx: 1500 };
const [WIDTH_MM, HEIGHT_MM] = [85.6, 53.98];

/** ln of found ÷ true mm per px on the work beside a card marked by hand, in standard uncertainties. */
function markedCard(seed: number): number {
  const rng = new Rng(seed, 'marked');
  const camera = cameraFrom(
    {
      focal35mm: 26,
      distanceMm: rng.float(250, 500),
      tiltDeg: Math.hypot(rng.gauss(0, 10), rng.gauss(0, 10)),
      tiltAzimuthDeg: rng.float(0, 360),
      rollDeg: rng.float(0, 360),
      lookAtMm: { x: 60, y: 0 },
      radialDistortion: 0,
    },
    SIZE.widthPx,
    SIZE.heightPx,
  );
  const clicked = [
    [-1, -1],
    [1, -1],
    [1, 1],
    [-1, 1],
  ].map(([i, j]) => {
    const p = camera.project((i! * WIDTH_MM) / 2, (j! * HEIGHT_MM) / 2, 0);
    return { x: p.x + rng.gauss(0, 1.5), y: p.y + rng.gauss(0, 1.5) };
  }) as [Point, Point, Point, Point];
  const photo = { rgb: SIZE, gray: SIZE, focalLength35mm: 26, decodeScale: 1 } as unknown as DecodedPhoto;
  const scale = manualScale(photo, {
    type: 'rectangle',
    cornersPx: clicked,
    widthMm: WIDTH_MM,
    heightMm: HEIGHT_MM,
  });
  const { meanMm, sdMm } = scale.workHeight!;
  const heightMm = rng.gauss(meanMm, sdMm);
  const at = camera.project(120, 0, heightMm);
  const centre = centroid(scale.outlinePx);
  const length = 2 * Math.max(...scale.outlinePx.map((p) => distance(p, centre)));
  const found = mmPerPxAt(scale.homographyPxToMm, scale.radialDistortion, at, SIZE);
  const truth = mmPerPxAt(camera.planeHomography(heightMm), 0, at, SIZE);
  return (
    Math.log(found / truth) /
    Math.hypot(
      scale.relativeUncertainty,
      (scale.relativeUncertaintyPerReferenceLength * distance(at, centre)) / length,
    )
  );
}

describe('four corners of a card marked by hand', () => {
  it('give intervals that hold the true scale beside the card 95 times of 100', () => {
    const COUNT = 60;
    const z = Array.from({ length: COUNT }, (_, i) => Math.abs(markedCard(i + 1)));
    const covered = z.filter((v) => v < 1.96).length / COUNT;
    expect(covered).toBeGreaterThan(0.88);
    expect(covered).toBeLessThan(1);
    // and they are no wider than they have to be
    expect(z.sort((p, q) => p - q)[COUNT / 2]!).toBeGreaterThan(0.4);
  });
});

describe('a small card whose outline a longer lens explains nearly as well', () => {
  it('is as uncertain beside it as the lenses differ, and holds the truth', () => {
    const camera = cameraFrom(
      {
        focal35mm: 60,
        distanceMm: 1900,
        tiltDeg: 25,
        tiltAzimuthDeg: 20,
        rollDeg: 10,
        lookAtMm: { x: 60, y: 0 },
        radialDistortion: 0,
      },
      SIZE.widthPx,
      SIZE.heightPx,
    );
    const quad = [
      [-1, -1],
      [1, -1],
      [1, 1],
      [-1, 1],
    ].map(([i, j]) => camera.project((i! * WIDTH_MM) / 2, (j! * HEIGHT_MM) / 2, 0)) as Quad;
    const edges = quad.flatMap((p, side) =>
      [0.1, 0.37, 0.63, 0.9].map((t) => ({ side, point: mix(p, quad[(side + 1) % 4]!, t), sigmaPx: 1 })),
    );
    const photo = { rgb: SIZE, gray: SIZE, focalLength35mm: null } as unknown as DecodedPhoto;
    const focals = focalHypotheses(photo);
    const fits = focals.map((logFocal) =>
      fitPose({
        size: SIZE,
        lines: rectangleLines(WIDTH_MM, HEIGHT_MM),
        start: rectangleTo(quad, WIDTH_MM, HEIGHT_MM),
        edges,
        logFocal,
        k1: K1_BELIEF,
        workHeightMm: { mean: 0, sd: 0.001 },
        sizeSd: 0.001,
        tiltSd: 0.3,
      })!,
    );
    const beside = camera.project(150, 40, 0);
    const error = Math.abs(
      Math.log(
        mmPerPxAt(fits[0]!.homographyPxToMm, fits[0]!.k1, beside, SIZE) /
          mmPerPxAt(camera.planeHomography(0), 0, beside, SIZE),
      ),
    );
    const alone = poseSpread([fits[0]!], focals)(beside);
    const both = poseSpread(fits, focals)(beside);
    expect(both).toBeGreaterThan(1.3 * alone);
    expect(error / both).toBeLessThan(1.96);
  });
});
