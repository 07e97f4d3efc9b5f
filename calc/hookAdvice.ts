import { checkNumber } from './checkNumber.ts';
import { HOOK_SIZES, nearestHookSize } from './hookSizes.ts';
import { propagate } from './propagate.ts';
import { englishSayer, say, type Said } from './said.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';

export interface HookAdviceOptions {
  /** Stitches per 10 cm, measured and wanted. */
  measured: Uncertain;
  wanted: number;
  /** Hook the swatch was worked with, mm. */
  hookMm: number;
  /** Rows per 10 cm likewise, when the pattern states them. */
  measuredRows?: Uncertain;
  wantedRows?: number;
  /** Own elasticity from two swatches; see `hookElasticity`. */
  elasticity?: Uncertain;
}

export interface HookChoice {
  hookMm: number;
  us: string | null;
  stitchesPer10cm: Estimate;
  /** Expected gauge against the wanted one; above 0 means too many stitches. */
  differencePercent: number;
}

export interface HookAdvice {
  action: 'keep' | 'larger' | 'smaller';
  hook: HookChoice;
  /** The present hook and those next to the advised one, thinnest first. */
  choices: HookChoice[];
  /** What follows from keeping the pattern's counts at the measured gauge. Factors of the planned value. */
  ignoring: {
    width: Estimate;
    height: Estimate;
    yarn: Estimate;
  };
  message: string;
  /** The message as code and values. */
  said: Said;
}

/**
 * Relative change of stitch width per relative change of hook diameter. A loop closes around the hook
 * plus the yarn, which gives D ÷ (D + d), about 0.65 for a worsted yarn on 5 mm, and tension evens out a
 * part of it; makers see half a millimetre move about 1 stitch in 14 (common practice).
 */
export const HOOK_ELASTICITY: Uncertain = { value: 0.6, standardUncertainty: 0.15 };

/**
 * Elasticity from two swatches by the same hands on two hooks: ln(gauge₁ ÷ gauge₂) ÷ ln(hook₂ ÷ hook₁).
 *
 * @example
 * hookElasticity({ hookMm: 5, stitchesPer10cm: { value: 14, standardUncertainty: 0.1 } },
 *   { hookMm: 6, stitchesPer10cm: { value: 12.6, standardUncertainty: 0.1 } }).value; // 0.578
 */
export function hookElasticity(
  first: { hookMm: number; stitchesPer10cm: Uncertain },
  second: { hookMm: number; stitchesPer10cm: Uncertain },
): Uncertain {
  const hooks = Math.log(second.hookMm / first.hookMm);
  const { value, standardUncertainty } = propagate(
    ([a, b]) => Math.log(a! / b!) / hooks,
    [first.stitchesPer10cm, second.stitchesPer10cm],
  );
  return { value, standardUncertainty };
}

/**
 * Which hook gives the wanted gauge, and what ignoring the difference does to size and yarn. Too many
 * stitches in 10 cm call for a larger hook, too few for a smaller one. A difference within twice its
 * uncertainty, or under 1 %, is left alone.
 *
 * @example
 * hookAdvice({ measured: { value: 14.5, standardUncertainty: 0.1 }, wanted: 13.5, hookMm: 5 }).hook.us; // 'I-9', 5.5 mm
 */
export function hookAdvice(options: HookAdviceOptions): HookAdvice {
  const { measured } = options;
  checkNumber('measured', measured.value, { min: 0.5, max: 150 });
  const wanted = checkNumber('wanted', options.wanted, { min: 0.5, max: 150 });
  const hookMm = checkNumber('hookMm', options.hookMm, { min: 0.4, max: 50, unit: 'mm' });
  const elasticity = options.elasticity ?? HOOK_ELASTICITY;
  checkNumber('elasticity', elasticity.value, { min: 0.05, max: 3 });

  const choiceOf = (mm: number): HookChoice => {
    const { value, standardUncertainty } = propagate(
      ([gauge, power]) => gauge! * (hookMm / mm) ** power!,
      [measured, elasticity],
    );
    return {
      hookMm: mm,
      us: HOOK_SIZES.find((size) => size.mm === mm)?.us ?? null,
      stitchesPer10cm: estimate(value, standardUncertainty, 0),
      differencePercent: (value / wanted - 1) * 100,
    };
  };

  const off = measured.value - wanted;
  const negligible = Math.abs(off) <= Math.max(2 * measured.standardUncertainty, 0.01 * wanted);
  const ideal = hookMm * (measured.value / wanted) ** (1 / elasticity.value);
  let advised = negligible ? hookMm : nearestHookSize(ideal).mm;
  // a smaller step whose gauge can't be told from the wanted one is the safer step
  const between = HOOK_SIZES.map((size) => size.mm)
    .filter((mm) => (mm - hookMm) * (mm - advised) < 0)
    .sort((a, b) => Math.abs(a - hookMm) - Math.abs(b - hookMm));
  advised =
    between.find((mm) => {
      const { stitchesPer10cm } = choiceOf(mm);
      return Math.abs(stitchesPer10cm.value - wanted) <= stitchesPer10cm.standardUncertainty;
    }) ?? advised;
  // the nearest listed size may be no better than the hook in hand
  if (Math.abs(choiceOf(advised).differencePercent) >= Math.abs(choiceOf(hookMm).differencePercent))
    advised = hookMm;

  const sizes = HOOK_SIZES.map((size) => size.mm);
  const at = sizes.findIndex((mm) => mm >= advised);
  const around = at < 0 ? [] : sizes.slice(Math.max(0, at - 2), at + 3);
  const listed = [...new Set([...around, hookMm, advised])].sort((a, b) => a - b);
  const action = advised === hookMm ? 'keep' : advised > hookMm ? 'larger' : 'smaller';

  const rows = options.measuredRows;
  const wantedRows = options.wantedRows;
  const ratio = (wantedGauge: number, gauge: Uncertain): Estimate => {
    const { value, standardUncertainty } = propagate(([g]) => wantedGauge / g!, [gauge]);
    return estimate(value, standardUncertainty, 0);
  };
  const width = ratio(wanted, measured);
  const height = rows && wantedRows !== undefined ? ratio(wantedRows, rows) : width;
  // yarn in a stitch goes with the linear size of the stitch (Munden's relations, J. Textile Inst. 50, 1959)
  const yarnValue = Math.sqrt(width.value * height.value);
  const yarn = estimate(
    yarnValue,
    yarnValue *
      Math.hypot(width.standardUncertainty / width.value / 2, height.standardUncertainty / height.value / 2),
    0,
  );
  const said = saidOf(action, advised, off, width.value);
  return {
    action,
    hook: choiceOf(advised),
    choices: listed.map(choiceOf),
    ignoring: { width, height, yarn },
    said,
    message: say(said, englishSayer('cm')),
  };
}

function saidOf(action: HookAdvice['action'], hookMm: number, off: number, width: number): Said {
  const percent = Math.round(Math.abs(width - 1) * 1000) / 10;
  const size: Said = {
    code: width < 1 ? 'hookAdvice.narrower' : 'hookAdvice.wider',
    values: { percent },
  };
  if (action === 'keep')
    return percent < 0.1
      ? { code: 'hookAdvice.right', values: {} }
      : { code: 'hookAdvice.keep', values: { size } };
  return { code: off > 0 ? 'hookAdvice.tooMany' : 'hookAdvice.tooFew', values: { hookMm, size } };
}
