import { clothLeanDeg } from './clothLean.ts';
import { type Fabric, findFabric } from './findFabric.ts';
import { type PlannedGauge, plannedPitches } from './plannedGauge.ts';
import { rectify, type Rectified } from './rectify.ts';
import type { DecodedPhoto, Point, Scale, StitchKey } from './types.ts';

/** The photo seen from straight above, turned by some angle, and the cloth found in it. */
export interface ClothView {
  seen: Rectified;
  fabric: Fabric | null;
  turnDeg: number;
}

export interface ViewClothOptions {
  /** Only here, decoded pixels. */
  regionPx?: Point[];
  stitch?: StitchKey;
  /** The gauge that the piece was planned with: its cloth is where stitches are about as big, if anywhere. */
  plannedGauge?: PlannedGauge;
  /** Whether a place, decoded px, surely shows table. */
  isTable?: ((p: Point) => boolean) | null;
  /** Called once the photo is flat, before cloth is looked for. */
  onFlat?: () => void;
}

/** Rows this far from level or upright are read as well as level ones. */
const READS_WELL_TO_DEG = 12;

/** Rectifies the photo, turned so that what ran `turnDeg` below level runs level, and looks for cloth. */
export async function viewCloth(
  photo: DecodedPhoto,
  scale: Scale | null,
  turnDeg: number,
  { regionPx, stitch, plannedGauge, isTable, onFlat }: ViewClothOptions = {},
): Promise<ClothView> {
  const seen = rectify(photo, scale, { regionPx, turnDeg, isTable });
  onFlat?.();
  const looking = { allowed: seen.allowed, stitch };
  const near = plannedGauge && seen.pxPerMm ? plannedPitches(plannedGauge, seen.pxPerMm) : null;
  const nearPx = near && Math.sqrt(near.stitchPitchPx * near.rowPitchPx);
  const asPlanned = nearPx ? await findFabric(seen.gray, { ...looking, nearPx }) : null;
  return { seen, turnDeg, fabric: asPlanned ?? (await findFabric(seen.gray, looking)) };
}

/**
 * The same with the sides of the cloth level: makers lay swatches down as they come, but the reader reads rows
 * best that run level or upright. Where no cloth is seen at all, it is looked for once more on the slant.
 */
export async function viewLevelCloth(
  photo: DecodedPhoto,
  scale: Scale | null,
  options: ViewClothOptions = {},
): Promise<ClothView> {
  const first = await viewCloth(photo, scale, 0, options);
  const leanDeg = first.fabric ? clothLeanDeg(first.fabric.outlinePx) : SLANT_DEG;
  if (leanDeg === null || Math.abs(leanDeg) <= READS_WELL_TO_DEG) return first;
  const level = await viewCloth(photo, scale, leanDeg, { ...options, onFlat: undefined });
  return level.fabric ? level : first;
}

/** Half-way between level and upright. */
const SLANT_DEG = 45;

/** Another view, for when the stitches could not be followed in this one. */
export function otherTurnDeg({ turnDeg }: ClothView): number {
  return turnDeg === 0 ? SLANT_DEG : 0;
}
