import type { Scale } from '../types.ts';
import { centroid, distance, type Quad } from './geometry.ts';
import { mmPerPxAt, type PictureSize } from './lens.ts';
import type { PoseFit } from './poseFit.ts';

/** The geometric part of a `Scale` from a solved pose; `quad` is the reference's outline, decoded px; `workHeight` is what was assumed. */
export function scaleFromPose(
  size: PictureSize,
  pose: PoseFit,
  quad: Quad,
  workHeight: { meanMm: number; sdMm: number; faceHeightMm: number },
): Omit<Scale, 'kind' | 'variety' | 'confidence' | 'advice'> {
  const centre = centroid(quad);
  const near = pose.relativeUncertaintyAt(centre);
  const reach = Math.max(distance(quad[0], quad[1]), distance(quad[1], quad[2]));
  const around = [
    { x: reach, y: 0 },
    { x: -reach, y: 0 },
    { x: 0, y: reach },
    { x: 0, y: -reach },
  ].map((d) => pose.relativeUncertaintyAt({ x: centre.x + d.x, y: centre.y + d.y }));
  const far = Math.sqrt(around.reduce((s, u) => s + u * u, 0) / around.length);
  return {
    homographyPxToMm: pose.homographyPxToMm,
    homographyCovariance: pose.homographyCovariance,
    mmPerPx: mmPerPxAt(pose.homographyPxToMm, pose.k1, centre, size),
    tiltDeg: pose.tiltDeg,
    relativeUncertainty: near,
    relativeUncertaintyPerReferenceLength: Math.sqrt(Math.max(0, far * far - near * near)),
    outlinePx: [...quad],
    radialDistortion: pose.k1,
    workHeight: { ...workHeight, relativePerMm: pose.relativePerMmOfHeightAt(centre) },
  };
}
