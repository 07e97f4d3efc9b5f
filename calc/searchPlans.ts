import { chainIsLegal, rowsAreLegal } from './countOptions.ts';
import { countedBorder } from './countedBorder.ts';
import { countColoursAt, noCount, type ColourCount } from './countColours.ts';
import { checkNumber } from './checkNumber.ts';
import { CalcError } from './errors.ts';
import { bandOfRow } from './layout.ts';
import type { PlanSpec } from './planSpec.ts';
import { propagate } from './propagate.ts';
import { readPlanSpec, type ReadyPlanSpec } from './readPlanSpec.ts';
import { chanceOfRunningOut } from './runningOut.ts';
import { englishSayer, say, type Said } from './said.ts';
import type { SentenceCode } from './sentences.ts';
import { sizeModel, stitchesOf } from './sizeModel.ts';
import { yarnNeedModel } from './yarnForPiece.ts';
import { edgeStitchesOf, yarnPerStitch } from './yarnPerStitch.ts';

export interface SearchLimits {
  /** Finished size, border included, mm. Within 6 % of the target when left out. */
  widthMm?: { min: number; max: number };
  heightMm?: { min: number; max: number };
  /** Skeins at most, by colour id. */
  maxSkeins?: Record<string, number>;
  /** Chance of not running out asked of every limited colour. */
  safety?: number;
  /** The last row is to be worked in this colour. */
  endColour?: string;
  /** Numbers of border rounds to consider; the plan's own when left out. */
  borderRounds?: number[];
  /** Colours the whole border may have; the plan's own when left out. */
  borderColours?: string[];
}

export interface SearchWeights {
  /** Per percent off the target, width and height added. */
  size: number;
  /** Per percent of yarn above the leanest feasible plan. */
  yarn: number;
  /** Per border round more or fewer than asked, and per stitch added or skipped in the border. */
  border: number;
}

export interface FoundPlan {
  chain: number;
  stitches: number;
  rows: number;
  borderRounds: number;
  borderColours: string[];
  widthMm: number;
  heightMm: number;
  gramsPerColour: Record<string, number>;
  /** Chance of running out by colour, for the colours with a limit. */
  chanceOfRunningOut: Record<string, number>;
  borderAdjust: number;
  cost: number;
  /** What this plan gives up against the best feasible plan in each respect; empty when nothing. */
  givesUp: string[];
  /** The same as codes and values. */
  givesUpSaid: Said[];
}

export interface SearchResult {
  plans: FoundPlan[];
  /** Combinations of chain, rows, rounds and border colour that were looked at. */
  considered: number;
  feasible: number;
  /** When nothing fits: which limits stand in the way, and what would have done. */
  because: string[];
  /** The same as codes and values. */
  becauseSaid: Said[];
}

/** Most combinations searched exactly; beyond that the ranges are too wide to be a question about one piece. */
const MOST_COMBINATIONS = 2_000_000;

/**
 * Every combination of chain, rows, border rounds and border colour within the limits, ranked. The
 * search is exhaustive, so the best plan is the best there is; ties go to the smaller piece.
 *
 * @throws CalcError for limits that make no sense or ranges too wide.
 * @example
 * searchPlans(spec, { maxSkeins: { moss: 3 }, endColour: 'sand', borderRounds: [2, 3] }).plans[0]!.chain; // 116
 */
export function searchPlans(
  input: PlanSpec,
  limits: SearchLimits,
  options: { weights?: Partial<SearchWeights>; top?: number } = {},
): SearchResult {
  const spec = readPlanSpec(input);
  const weights: SearchWeights = { size: 1, yarn: 0.2, border: 0.5, ...options.weights };
  const top = checkNumber('top', options.top ?? 5, { min: 1, max: 100, whole: true });
  const safety = checkNumber('limits.safety', limits.safety ?? 0.95, { min: 0.5, max: 0.9999 });
  const width = range('limits.widthMm', limits.widthMm, spec.target.widthMm);
  const height = range('limits.heightMm', limits.heightMm, spec.target.heightMm);
  const known = (id: string, field: string): void => {
    if (spec.colours.some((colour) => colour.id === id)) return;
    const allowed = `one of: ${spec.colours.map((colour) => colour.id).join(', ')}`;
    throw new CalcError('unknown-key', field, `${field}: there is no colour "${id}".`, allowed);
  };
  for (const [id, most] of Object.entries(limits.maxSkeins ?? {})) {
    known(id, 'limits.maxSkeins');
    checkNumber(`limits.maxSkeins.${id}`, most, { min: 0, max: 1000 });
  }
  if (limits.endColour !== undefined) known(limits.endColour, 'limits.endColour');
  limits.borderColours?.forEach((id) => known(id, 'limits.borderColours'));

  const variants = borderVariants(spec, limits).map((variant) => {
    const size = sizeModel(variant);
    return {
      spec: variant,
      size,
      chains: countsWithin(
        (chain) => chainIsLegal(chain, spec),
        (chain) => size.expectedWidthMm(stitchesOf(chain, spec)),
        width,
      ),
      rows: countsWithin(
        (rows) => rowsAreLegal(rows, spec) && endsIn(spec, rows, limits.endColour),
        size.expectedHeightMm,
        height,
      ),
    };
  });
  const considered = variants.reduce((sum, each) => sum + each.chains.length * each.rows.length, 0);
  if (considered > MOST_COMBINATIONS) {
    throw new CalcError(
      'out-of-range',
      'limits',
      { code: 'search.tooMany', values: { n: considered } },
      `at most ${MOST_COMBINATIONS} combinations`,
    );
  }

  // yarn per stitch does not depend on the counts, except through usedSoFar, which belongs to a begun piece
  const first = variants.find((each) => each.chains.length && each.rows.length);
  const begun = first ? { chain: first.chains[0]!, stitches: stitchesOf(first.chains[0]!, spec) } : null;
  const perStitch = spec.colours.map((colour) => (begun ? yarnPerStitch(spec, colour, begun) : null));
  const counted = new Map<string, Record<string, ColourCount>>();
  const fewestSkeins: Record<string, number> = {};

  const found: FoundPlan[] = [];
  for (const variant of variants) {
    for (const chain of variant.chains) {
      const stitches = stitchesOf(chain, spec);
      const missing = variant.rows.filter((rows) => !counted.has(`${chain}×${rows}`));
      if (missing.length > 0) {
        countColoursAt(
          {
            layout: spec.layout,
            stitch: spec.stitch,
            chain,
            stitches,
            rows: missing[missing.length - 1]!,
            edgeStitches: edgeStitchesOf(spec),
            carryUpRows: spec.practice.carryUpRows,
          },
          missing,
        ).forEach((counts, index) => counted.set(`${chain}×${missing[index]!}`, counts));
      }
      for (const rows of variant.rows) {
        const counts = counted.get(`${chain}×${rows}`)!;
        const border = countedBorder(variant.spec, variant.size, stitches, rows);
        const gramsPerColour: Record<string, number> = {};
        const chances: Record<string, number> = {};
        let fits = true;
        spec.colours.forEach((colour, index) => {
          const per = perStitch[index];
          if (!per) return;
          const model = yarnNeedModel(spec, border, colour, counts[colour.id] ?? noCount(), per);
          const most = limits.maxSkeins?.[colour.id];
          if (most === undefined || colour.skeinGrams === null) {
            gramsPerColour[colour.id] = model.grams(model.inputs.map((each) => each.value));
            return;
          }
          const need = propagate(model.grams, model.inputs);
          gramsPerColour[colour.id] = need.value;
          chances[colour.id] = chanceOfRunningOut(need, colour.skeinGrams, most);
          if (chances[colour.id]! > 1 - safety) fits = false;
          const skeins = need.value / colour.skeinGrams;
          fewestSkeins[colour.id] = Math.min(fewestSkeins[colour.id] ?? Infinity, skeins);
        });
        if (!fits) continue;
        found.push({
          chain,
          stitches,
          rows,
          borderRounds: variant.spec.border?.rounds ?? 0,
          borderColours: [...new Set(variant.spec.border?.colours ?? [])],
          widthMm: variant.size.expectedWidthMm(stitches),
          heightMm: variant.size.expectedHeightMm(rows),
          gramsPerColour,
          chanceOfRunningOut: chances,
          borderAdjust: border?.rounds.reduce((sum, round) => sum + Math.abs(round.adjust), 0) ?? 0,
          cost: 0,
          givesUp: [],
          givesUpSaid: [],
        });
      }
    }
  }
  rank(found, spec, weights);
  const plans = found.slice(0, top);
  explain(plans, found, spec);
  const becauseSaid = found.length > 0 ? [] : reasons(variants, spec, limits, fewestSkeins);
  const sayer = englishSayer(spec.units);
  return {
    plans,
    considered,
    feasible: found.length,
    because: becauseSaid.map((each) => say(each, sayer)),
    becauseSaid,
  };
}

interface Range {
  min: number;
  max: number;
}

function range(field: string, sent: Range | undefined, targetMm: number): Range {
  if (!sent) return { min: targetMm * 0.94, max: targetMm * 1.06 };
  const min = checkNumber(`${field}.min`, sent.min, { min: 0, max: 10_000, unit: 'mm' });
  return { min, max: checkNumber(`${field}.max`, sent.max, { min, max: 10_000, unit: 'mm' }) };
}

function countsWithin(
  legal: (n: number) => boolean,
  sizeMm: (n: number) => number,
  { min, max }: Range,
): number[] {
  const found: number[] = [];
  for (let count = 1; count <= 20_000 && sizeMm(count) <= max + 1e-6; count++) {
    if (sizeMm(count) >= min - 1e-6 && legal(count)) found.push(count);
  }
  return found;
}

function endsIn(spec: ReadyPlanSpec, rows: number, colour: string | undefined): boolean {
  if (colour === undefined) return true;
  const { across } = spec.layout.bands[bandOfRow(spec.layout, rows).index]!;
  return across.includes(colour);
}

function borderVariants(spec: ReadyPlanSpec, limits: SearchLimits): ReadyPlanSpec[] {
  const { border } = spec;
  if (!border) return [spec];
  const rounds = limits.borderRounds ?? [border.rounds];
  const colours = limits.borderColours ?? [null];
  return [...new Set(rounds)].flatMap((count): ReadyPlanSpec[] => {
    checkNumber('limits.borderRounds', count, { min: 0, max: 100, whole: true });
    if (count === 0) return [{ ...spec, border: null }];
    return colours.map((colour) => ({
      ...spec,
      border: {
        ...border,
        rounds: count,
        colours: Array.from(
          { length: count },
          (_, round) => colour ?? border.colours[Math.min(round, border.rounds - 1)]!,
        ),
      },
    }));
  });
}

const totalGrams = (plan: FoundPlan): number =>
  Object.values(plan.gramsPerColour).reduce((sum, grams) => sum + grams, 0);

const offPercent = (plan: FoundPlan, spec: ReadyPlanSpec): number =>
  100 *
  (Math.abs(plan.widthMm / spec.target.widthMm - 1) + Math.abs(plan.heightMm / spec.target.heightMm - 1));

function rank(found: FoundPlan[], spec: ReadyPlanSpec, weights: SearchWeights): void {
  const leanest = found.reduce((least, plan) => Math.min(least, totalGrams(plan)), Infinity);
  for (const plan of found) {
    const yarn = leanest > 0 ? (totalGrams(plan) / leanest - 1) * 100 : 0;
    const border = Math.abs(plan.borderRounds - (spec.border?.rounds ?? 0)) + plan.borderAdjust;
    plan.cost = weights.size * offPercent(plan, spec) + weights.yarn * yarn + weights.border * border;
  }
  found.sort(
    (a, b) => a.cost - b.cost || a.chain - b.chain || a.rows - b.rows || a.borderRounds - b.borderRounds,
  );
}

function explain(plans: FoundPlan[], all: FoundPlan[], spec: ReadyPlanSpec): void {
  if (all.length === 0) return;
  const best = (measure: (plan: FoundPlan) => number): number =>
    all.reduce((least, plan) => Math.min(least, measure(plan)), Infinity);
  const widthOff = (plan: FoundPlan): number => Math.abs(plan.widthMm - spec.target.widthMm);
  const heightOff = (plan: FoundPlan): number => Math.abs(plan.heightMm - spec.target.heightMm);
  const rounds = spec.border?.rounds ?? 0;
  const bestWidth = best(widthOff);
  const bestHeight = best(heightOff);
  const leanest = best(totalGrams);
  for (const plan of plans) {
    const says = (code: SentenceCode, values: Said['values']): void => {
      plan.givesUpSaid.push({ code, values });
    };
    const length = (lengthMm: number) => ({ lengthMm });
    if (widthOff(plan) > bestWidth + 0.5) {
      says('search.width', { off: length(widthOff(plan)), best: length(bestWidth) });
    }
    if (heightOff(plan) > bestHeight + 0.5) {
      says('search.height', { off: length(heightOff(plan)), best: length(bestHeight) });
    }
    if (totalGrams(plan) > leanest + 0.5) {
      says('search.yarn', { grams: Math.round(totalGrams(plan) - leanest) });
    }
    if (plan.borderRounds < rounds) {
      says('search.rounds', { n: plan.borderRounds, of: rounds });
    }
    if (plan.borderAdjust > 0) {
      says('search.pattern', { n: plan.borderAdjust });
    }
    plan.givesUp = plan.givesUpSaid.map((each) => say(each, englishSayer(spec.units)));
  }
}

function reasons(
  variants: { chains: number[]; rows: number[] }[],
  spec: ReadyPlanSpec,
  limits: SearchLimits,
  fewestSkeins: Record<string, number>,
): Said[] {
  const because: Said[] = [];
  if (variants.every((each) => each.chains.length === 0)) {
    because.push({ code: 'search.noChain', values: {} });
  }
  if (variants.every((each) => each.rows.length === 0)) {
    because.push({ code: 'search.noRows', values: {} });
  }
  if (because.length > 0) return because;
  for (const [id, skeins] of Object.entries(fewestSkeins)) {
    const name = spec.colours.find((colour) => colour.id === id)!.name;
    because.push({
      code: 'search.noYarn',
      values: { colour: name, n: Math.round(skeins * 10) / 10, have: limits.maxSkeins![id]! },
    });
  }
  return because;
}
