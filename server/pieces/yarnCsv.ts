import type { Plan } from '../../calc/index.ts';
import { writeCsv } from './writeCsv.ts';

/** The yarn of a planned piece, one colour a line, with standard uncertainties and skeins to buy. */
export function yarnCsv(plan: Plan): string {
  const header = [
    'colour',
    'grams',
    'grams_standard_uncertainty',
    'grams_low95',
    'grams_high95',
    'metres',
    'skein_grams',
    'skeins_95_percent_safe',
    'leftover_grams',
  ];
  const round = (value: number): number => Math.round(value * 10) / 10;
  const lines = (plan.yarn?.perColour ?? []).map(({ name, grams, metres, skeins }) => [
    name,
    round(grams.value),
    round(grams.standardUncertainty),
    round(grams.low95),
    round(grams.high95),
    metres ? round(metres.value) : null,
    skeins?.skeinGrams ?? null,
    skeins?.forSafety95 ?? null,
    skeins ? round(skeins.leftoverGrams.value) : null,
  ]);
  return writeCsv([header, ...lines]);
}
