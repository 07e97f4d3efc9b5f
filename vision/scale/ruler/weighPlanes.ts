import {
  fitRulerPlane,
  type BaseSighting,
  type FitRulerPlaneOptions,
  type RulerPlane,
  type TickSighting,
} from './fitRulerPlane.ts';

/** One explanation of the same sightings. */
export interface WeighedPlane {
  plane: RulerPlane;
  bent: boolean;
  /** How likely it is among all that were tried, 0…1. */
  share: number;
}

type FocalBelief = Pick<FitRulerPlaneOptions, 'focal35mm' | 'focalRelativeUncertainty'>;

/**
 * What a photo may have been taken with, and the charge (−2 ln of the odds) for believing so. What the file says is
 * mostly true, but a picture cropped or zoomed afterwards lies; phones have a wide lens and often a long one
 * (common practice: 24 to 29 mm and 45 to 80 mm).
 */
function focalBeliefs(stated: number | null): (FocalBelief & { charge: number })[] {
  const wide = { focal35mm: 26, focalRelativeUncertainty: 0.2 };
  const long = { focal35mm: 60, focalRelativeUncertainty: 0.25 };
  if (stated === null)
    return [
      { ...wide, charge: 0 },
      { ...long, charge: 4 },
    ];
  return [
    { focal35mm: stated, focalRelativeUncertainty: 0.08, charge: 0 },
    { ...wide, charge: 6 },
    { ...long, charge: 9 },
  ];
}

/** What is less likely than this is left out. */
const LEAST_SHARE = 0.003;

/**
 * Explains ticks as lying straight and as lying in a bend, with the lens that the file states and with others, and
 * says how likely each explanation is: converging ticks and a bowed edge may be a bend, a tilt or the lens, and a scale
 * that is read off the wrong one of them is wrong by several per cent without fitting ill.
 *
 * @param stated 35 mm-equivalent focal length that the file states, mm
 * @param bentShare how likely a bend is beforehand, 0…1
 * @returns likeliest first; empty when nothing fits
 */
export function weighPlanes(
  stated: number | null,
  ticks: TickSighting[],
  bases: BaseSighting[],
  start: Parameters<typeof fitRulerPlane>[2],
  options: Omit<FitRulerPlaneOptions, keyof FocalBelief | 'mayCurve' | 'baseAcrossMm' | 'near'>,
  bend: { share: number; baseAcrossMm: number },
): WeighedPlane[] {
  const tried: { plane: RulerPlane; bent: boolean; charge: number }[] = [];
  for (const bent of [false, true]) {
    // A bend taken for a steep tilt through a long lens is a deep valley: what lies bent is not looked for near it.
    let near: RulerPlane | undefined;
    const likelihood = bent ? bend.share : 1 - bend.share;
    if (likelihood <= 0) continue;
    const shape = { mayCurve: bent, baseAcrossMm: bent ? bend.baseAcrossMm : 0 };
    for (const { charge, ...belief } of focalBeliefs(stated)) {
      // Ticks that converge a little are a slight tilt before a wide lens and a steep one before a long lens alike.
      const plane = fitRulerPlane(ticks, bases, start, { ...options, ...shape, ...belief, near });
      if (!plane || !Number.isFinite(plane.freedomCharge)) continue;
      near ??= plane;
      tried.push({ plane, bent, charge: charge - 2 * Math.log(likelihood) });
    }
  }
  if (tried.length === 0) return [];
  // where even the best fits ill, a difference of costs counts for less than it says
  const unit = Math.max(1, Math.min(...tried.map(({ plane }) => plane.misfit)) ** 2);
  const total = tried.map(({ plane, charge }) => plane.cost / unit + plane.freedomCharge + charge);
  const least = Math.min(...total);
  const odds = total.map((t) => Math.exp((least - t) / 2));
  const sum = odds.reduce((s, o) => s + o, 0);
  const likely = tried
    .map(({ plane, bent }, i) => ({ plane, bent, share: odds[i]! / sum }))
    .filter(({ share }) => share >= LEAST_SHARE)
    .sort((p, q) => q.share - p.share);
  const kept = likely.reduce((s, { share }) => s + share, 0);
  return likely.map((w) => ({ ...w, share: w.share / kept }));
}
