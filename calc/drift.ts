import jstat from 'jstat';
import { checkNumber } from './checkNumber.ts';
import type { GaugeBand } from './gaugeBands.ts';
import { gaugeTrend } from './gaugeTrend.ts';
import { photosTellDirection } from './photosTellDirection.ts';
import { photosMisfit, type PhotosMisfit } from './photosMisfit.ts';
import { propagate } from './propagate.ts';
import { englishSayer, say, type Said } from './said.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';

export interface DriftOptions {
  bands: readonly GaugeBand[];
  /** Stitches of a row, and rows of the finished body. */
  stitches: number;
  rows: number;
  /** Rows that are worked; as many as twice the middle of what was seen when left out. */
  rowsDone?: number;
  /** Stitches per 10 cm that the plan was made with. */
  swatch?: Uncertain;
  /** Relative standard uncertainty of each photo's scale. */
  scaleRelativeUncertainty?: number;
  /** Relative standard uncertainty, across one photo, of what its rectification leaves over. */
  gradientRelativeUncertainty?: number;
  /** Chance of a false alarm that is put up with. */
  significance?: number;
  /** Whether it is known which end of each photo its first rows are at; else photos of several parts may lie either way. */
  photosLieAsTold?: boolean;
}

export interface Drift {
  /** 'unknown' with fewer than three bands, and where one photo of three or more lies on no line with the others and the change rests on it. */
  status: 'steady' | 'tighter' | 'looser' | 'unknown';
  pValue: number;
  /** Change of stitches per 10 cm from the lowest to the topmost band seen, per cent. */
  changePercent: Estimate;
  /** The fitted line, for drawing: stitches per 10 cm at a row, with its 95 % band. */
  line: { row: number; stitchesPer10cm: Estimate }[];
  /** If it goes on like this: width of the first row and of the last, and the difference. */
  ifContinued: { firstRowMm: Estimate; lastRowMm: Estimate; lastMinusFirstMm: Estimate } | null;
  /** The photo that lies on no line with the others, by its middle row: to be taken once more. */
  oddPhoto: PhotosMisfit['odd'] | null;
  /** Stitches per 10 cm in the middle of what is worked, by the line. */
  inTheMiddle: Estimate | null;
  /** Relative change of a row's width from each row to the next; positive when rows grow wider. */
  widthPerRow: Estimate | null;
  /** The piece as a whole against the swatch. */
  swatch: null | { differencePercent: Estimate; pValue: number; differs: boolean };
  message: string;
  /** The message as code and values. */
  said: Said;
}

/** Chance of doubting photos that were all read rightly. */
const MISFIT_SIGNIFICANCE = 0.02;
/** A change that is this many standard uncertainties large is missed once in five times. */
const SHOWS_MOSTLY = 1.96 + 0.84;
/** Where a change of so much over the rows so far might not show, per cent, more photos are asked for. */
const SHOULD_SHOW_PERCENT = 4;

/**
 * Whether the maker's tension changes over the rows, and what that does to the edges. A regression of
 * stitches per 10 cm on the row, with a t test of its slope; scale and rectification errors that one
 * photo's bands share are taken into account, so that perspective is not mistaken for tension.
 * A photo shows by itself how fast the tension changes, but not which of its ends was worked first: where photos are of
 * parts that lie apart, these tell the way, and each may lie either way round.
 * Of three photos or more one that was misread makes a slope as steep as a real drift does, but no straight line.
 *
 * @throws CalcError for rows or gauges out of range.
 * @example
 * drift({
 *   bands: [5, 15, 25, 35, 45].map((row) => ({ row, stitchesPer10cm: { value: 13 + row / 50, standardUncertainty: 0.08 } })),
 *   stitches: 120,
 *   rows: 90,
 * }).status; // 'tighter'
 */
export function drift(options: DriftOptions): Drift {
  const { bands, stitches, rows } = options;
  checkNumber('stitches', stitches, { min: 1, max: 20_000, whole: true });
  checkNumber('rows', rows, { min: 1, max: 20_000, whole: true });
  bands.forEach((band, index) => {
    checkNumber(`bands.${index}.row`, band.row, { min: 0, max: 20_000 });
    checkNumber(`bands.${index}.stitchesPer10cm`, band.stitchesPer10cm.value, { min: 0.5, max: 150 });
    checkNumber(`bands.${index}.standardUncertainty`, band.stitchesPer10cm.standardUncertainty, {
      min: 1e-6,
      max: 50,
    });
  });
  const significance = checkNumber('significance', options.significance ?? 0.05, { min: 0.0001, max: 0.5 });
  const points = bands.map((band) => ({
    at: band.row,
    value: band.stitchesPer10cm.value,
    standardUncertainty: band.stitchesPer10cm.standardUncertainty,
    group: band.photo ?? '',
    sharedRelativeU: band.sharedRelativeU,
  }));
  const scaleRelativeUncertainty = options.scaleRelativeUncertainty ?? 0.005;
  const trend = gaugeTrend(points, {
    scaleRelativeUncertainty,
    gradientRelativeUncertainty: options.gradientRelativeUncertainty ?? 0.004,
    eitherWay: !options.photosLieAsTold && photosTellDirection(bands),
    oneMayBeMisread: true,
  });
  if (!trend) {
    return {
      status: 'unknown',
      pValue: 1,
      changePercent: estimate(0, 100),
      line: [],
      ifContinued: null,
      oddPhoto: null,
      inTheMiddle: null,
      widthPerRow: null,
      swatch: null,
      ...inWords({ code: 'drift.unknown', values: {} }),
    };
  }
  const inputs = [trend.valueAtPivot, trend.slope];
  const gaugeAt = (row: number, [value, slope]: number[]): number => value! + slope! * (row - trend.pivot);
  const run = (model: (values: number[]) => number): Estimate => {
    const { value, standardUncertainty } = propagate(model, inputs);
    return estimate(value, standardUncertainty);
  };
  const seen = bands.map((band) => band.row);
  const [low, high] = [Math.min(...seen), Math.max(...seen)];
  const changePercent = run((values) => 100 * (gaugeAt(high, values) / gaugeAt(low, values) - 1));
  const widthAt = (row: number, values: number[]): number => (stitches * 100) / gaugeAt(row, values);
  const { rowsDone } = options;
  const inTheMiddle = run((values) =>
    gaugeAt(rowsDone === undefined ? trend.pivot : (1 + rowsDone) / 2, values),
  );
  const misfit = photosMisfit(points, scaleRelativeUncertainty, trend.likeliestMisread);
  const odd = misfit && misfit.pValue <= MISFIT_SIGNIFICANCE ? misfit.odd : null;
  const drifts = trend.pValue <= significance;
  const status = drifts ? (trend.slope.value > 0 ? 'tighter' : 'looser') : odd ? 'unknown' : 'steady';
  const soFar = Math.max(high - low, (rowsDone ?? 0) - 1);
  const ifContinued = {
    firstRowMm: run((values) => widthAt(1, values)),
    lastRowMm: run((values) => widthAt(rows, values)),
    lastMinusFirstMm: run((values) => widthAt(rows, values) - widthAt(1, values)),
  };
  return {
    status,
    pValue: trend.pValue,
    changePercent,
    line: [...new Set([1, low, Math.round((low + high) / 2), high, rows])]
      .sort((a, b) => a - b)
      .map((row) => ({ row, stitchesPer10cm: run((values) => gaugeAt(row, values)) })),
    ifContinued,
    oddPhoto: odd,
    inTheMiddle,
    widthPerRow: run(([value, slope]) => -slope! / value!),
    swatch: options.swatch ? againstSwatch(inTheMiddle, options.swatch, significance) : null,
    ...inWords(
      saidOf({
        status,
        odd,
        changePercent: changePercent.value,
        hiddenPercent: (SHOWS_MOSTLY * changePercent.standardUncertainty * soFar) / (high - low),
        lastMinusFirstMm: ifContinued.lastMinusFirstMm.value,
      }),
    ),
  };
}

function againstSwatch(piece: Uncertain, swatch: Uncertain, significance: number): Drift['swatch'] {
  const { value, standardUncertainty } = propagate(
    ([now, then]) => 100 * (now! / then! - 1),
    [piece, swatch],
  );
  const pValue =
    2 * (1 - jstat.jStat.normal.cdf(Math.abs(value) / Math.max(standardUncertainty, 1e-9), 0, 1));
  return { differencePercent: estimate(value, standardUncertainty), pValue, differs: pValue <= significance };
}

const inWords = (said: Said) => ({ said, message: say(said, englishSayer('cm')) });

interface Found {
  status: Drift['status'];
  odd: PhotosMisfit['odd'] | null;
  changePercent: number;
  /** A change over the rows so far that would mostly show: a smaller one may not. */
  hiddenPercent: number;
  lastMinusFirstMm: number;
}

const tenths = (percent: number): number => Math.abs(Math.round(percent * 10) / 10);

function saidOf({ status, odd, changePercent, hiddenPercent, lastMinusFirstMm }: Found): Said {
  if (status === 'steady' && hiddenPercent > SHOULD_SHOW_PERCENT)
    return { code: 'drift.steadyRoughly', values: { percent: Math.ceil(hiddenPercent) } };
  if (status === 'steady') return { code: 'drift.steady', values: {} };
  const row: Said['values'] = odd ? { row: Math.round(odd.row) } : {};
  if (status === 'unknown')
    return odd
      ? {
          code: odd.percent > 0 ? 'drift.oddPhotoTighter' : 'drift.oddPhotoLooser',
          values: { ...row, percent: tenths(odd.percent) },
        }
      : { code: 'drift.unknown', values: {} };
  const codes = odd
    ? ({ tighter: 'drift.growsTighterOdd', looser: 'drift.growsLooserOdd' } as const)
    : ({ tighter: 'drift.growsTighter', looser: 'drift.growsLooser' } as const);
  return {
    code: codes[status],
    values: { percent: tenths(changePercent), difference: { lengthMm: Math.abs(lastMinusFirstMm) }, ...row },
  };
}
