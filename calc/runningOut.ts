import jstat from 'jstat';
import type { Uncertain } from './uncertain.ts';

/** Relative standard uncertainty of one skein's weight against its label (from memory: balls vary by 1–2 %). */
export const SKEIN_WEIGHT_RELATIVE_U = 0.015;

/**
 * Chance that `skeins` skeins of `skeinGrams` do not suffice for a need in grams, both normal.
 *
 * @example chanceOfRunningOut({ value: 190, standardUncertainty: 8 }, 100, 2); // 0.11…
 */
export function chanceOfRunningOut(needGrams: Uncertain, skeinGrams: number, skeins: number): number {
  if (needGrams.value <= 0) return 0;
  if (skeins <= 0) return 1;
  const spread = Math.hypot(
    needGrams.standardUncertainty,
    SKEIN_WEIGHT_RELATIVE_U * skeinGrams * Math.sqrt(skeins),
  );
  return jstat.jStat.normal.cdf(needGrams.value, skeins * skeinGrams, spread);
}

/**
 * The fewest skeins with which the chance of running out is at most 1 − `safety`.
 *
 * @example skeinsForSafety({ value: 190, standardUncertainty: 8 }, 100); // 3
 */
export function skeinsForSafety(needGrams: Uncertain, skeinGrams: number, safety = 0.95): number {
  if (needGrams.value <= 0) return 0;
  let skeins = Math.max(1, Math.floor(needGrams.value / skeinGrams));
  while (chanceOfRunningOut(needGrams, skeinGrams, skeins) > 1 - safety) skeins++;
  return skeins;
}

/**
 * Chance that `grams` at hand, weighed, do not suffice for a need in grams.
 *
 * @example chanceWithGrams({ value: 190, standardUncertainty: 8 }, 200); // 0.105…
 */
export function chanceWithGrams(needGrams: Uncertain, grams: number): number {
  if (needGrams.value <= 0) return 0;
  return jstat.jStat.normal.cdf(needGrams.value, grams, Math.max(needGrams.standardUncertainty, 1e-6));
}

/**
 * Skeins to add to `grams` at hand so that the chance of running out is at most 1 − `safety`.
 *
 * @example skeinsToBuy({ value: 190, standardUncertainty: 8 }, 120, 50); // 2
 */
export function skeinsToBuy(needGrams: Uncertain, grams: number, skeinGrams: number, safety = 0.95): number {
  let skeins = 0;
  const chance = (count: number): number => {
    const spread = Math.hypot(
      needGrams.standardUncertainty,
      SKEIN_WEIGHT_RELATIVE_U * skeinGrams * Math.sqrt(count),
    );
    return jstat.jStat.normal.cdf(needGrams.value, grams + count * skeinGrams, Math.max(spread, 1e-6));
  };
  while (needGrams.value > 0 && chance(skeins) > 1 - safety) skeins++;
  return skeins;
}
