import { describe, expect, it } from 'vitest';
import { cameraFrom } from '../../fixtures/scene/camera.ts';
import { Rng } from '../../fixtures/scene/rng.ts';
import { chordUncertainty } from '../../vision/piece/chordUncertainty.ts';
import { K1_BELIEF } from '../../vision/scale/camera.ts';
import { distance, rectangleTo, type Quad } from '../../vision/scale/geometry.ts';
import { pxToMm } from '../../vision/scale/lens.ts';
import { fitPose, rectangleLines } from '../../vision/scale/poseFit.ts';
import { poseVariations } from '../../vision/scale/poseVariations.ts';
import { scaleFromPose } from '../../vision/scale/scaleFromPose.ts';
import type { Point, Scale } from '../../vision/types.ts';

const SIZE = { widthPx: 2400, heightPx: 1800 };
const [WIDTH_MM, HEIGHT_MM] = [190, 270];
const NO_HEIGHT = { mean: 0, sd: 1e-6 };

/** A sheet at the left of a picture of 1.6 m, its sides known to 0.4 px, through a lens that bends a little. */
function seenSheet(seed: number) {
  const rng = new Rng(seed, 'chord');
  const camera = cameraFrom(
    {
      focal35mm: 26,
      distanceMm: 1300,
      tiltDeg: rng.float(0, 15),
      tiltAzimuthDeg: rng.float(0, 360),
      rollDeg: 0,
      lookAtMm: { x: 300, y: 100 },
      radialDistortion: rng.gauss(K1_BELIEF.mean, K1_BELIEF.sd),
    },
    SIZE.widthPx,
    SIZE.heightPx,
  );
  const at = (x: number, y: number): Point => camera.project(x, y, 0);
  const corners: Quad = [at(0, 0), at(WIDTH_MM, 0), at(WIDTH_MM, HEIGHT_MM), at(0, HEIGHT_MM)];
  const sides: [number, number][] = [
    [0, 0],
    [WIDTH_MM, 0],
    [WIDTH_MM, HEIGHT_MM],
    [0, HEIGHT_MM],
  ];
  const edges = sides.flatMap(([x, y], side) => {
    const [u, v] = sides[(side + 1) % 4]!;
    return Array.from({ length: 20 }, (_, i) => {
      const t = (i + 0.5) / 20;
      const p = at(x + t * (u - x), y + t * (v - y));
      return { side, point: { x: p.x + rng.gauss(0, 0.4), y: p.y + rng.gauss(0, 0.4) }, sigmaPx: 0.4 };
    });
  });
  const pose = fitPose({
    size: SIZE,
    lines: rectangleLines(WIDTH_MM, HEIGHT_MM),
    start: rectangleTo(corners, WIDTH_MM, HEIGHT_MM),
    edges,
    logFocal: { mean: Math.log((26 / Math.hypot(36, 24)) * 3000), sd: 0.025 },
    k1: K1_BELIEF,
    workHeightMm: NO_HEIGHT,
    sizeSd: 1e-6,
  })!;
  const scale = {
    ...scaleFromPose(SIZE, pose, corners, { meanMm: 0, sdMm: 0, faceHeightMm: 0 }),
    variations: poseVariations(pose.solution),
    kind: 'sheet',
    variety: 'sheet-a4',
    confidence: 1,
    advice: [],
  } satisfies Scale;
  return { at, scale, pose };
}

describe('how uncertain lengths across a picture are', () => {
  it('is what they miss by, far from the sheet too', () => {
    const missed = Array.from({ length: 60 }, (_, seed) => {
      const { at, scale } = seenSheet(seed);
      const [from, to] = [at(-300, 600), at(900, 600)];
      const found = distance(pxToMm(scale, from, SIZE), pxToMm(scale, to, SIZE));
      const u = chordUncertainty(SIZE, scale, scale.relativeUncertainty).ofMean([{ at: 0.5, from, to }]);
      return Math.log(found / 1200) / u;
    });
    const rms = Math.sqrt(missed.reduce((sum, z) => sum + z * z, 0) / missed.length);
    expect(rms).toBeGreaterThan(0.75);
    expect(rms).toBeLessThan(1.3);
  });

  it('is that of the scale itself beside the sheet, and grows away from it', () => {
    const { at, scale, pose } = seenSheet(7);
    const by = chordUncertainty(SIZE, scale, scale.relativeUncertainty);
    const along = (x: number) =>
      by.ofMean([
        { at: 0, from: at(x - 20, 135), to: at(x + 20, 135) },
        { at: 1, from: at(x, 115), to: at(x, 155) },
      ]);
    const there = along(95) / pose.relativeUncertaintyAt(at(95, 135));
    expect(there).toBeGreaterThan(0.9);
    expect(there).toBeLessThan(1.1);
    expect(along(700)).toBeGreaterThan(2 * along(95));
  });

  it('counts what is known of the lens where a scale says nothing else', () => {
    const { at, scale } = seenSheet(3);
    const rough = chordUncertainty(SIZE, { ...scale, variations: [] }, 0.002);
    const chord = { at: 0.5, from: at(-300, 600), to: at(900, 600) };
    expect(rough.ofMean([chord])).toBeGreaterThan(0.002);
    expect(rough.ofMean([chord])).toBeLessThan(0.05);
  });
});
