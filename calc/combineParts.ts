import { combineEstimates } from './combineEstimates.ts';
import { gaugeBands, type GaugeBand, type LocalReading } from './gaugeBands.ts';
import { photoOwnRelativeU } from './photoOwnRelativeU.ts';
import { estimate, type Estimate, type Uncertain } from './uncertain.ts';

/** What one photo of a piece (or of part of it) gave; the fields are those of a measurement. */
export interface PartReading {
  /** Its name among the others. */
  name: string;
  gauge: { stitchesPer10cm: Uncertain; rowsPer10cm: Uncertain } | null;
  localGauge: readonly LocalReading[];
  /** Rows from edge to edge, when both edges are in view. */
  rowsCounted: number | null;
  /** Standard uncertainty of that count, rows; half a row when left out. */
  rowsCountedU?: number | undefined;
  /** The number next to that count, where either may be right. */
  rowsOrElse?: number | null | undefined;
  /** Whole rows between the lines drawn, edges in view or not. */
  rowsSeen: number | null;
  /** Direction of the next row in its photo, degrees from the x axis, clockwise on screen. */
  rowAngleDeg?: number | null | undefined;
  /** Lowest and topmost row in view, when she says so. */
  rowsInView?: { fromRow: number; toRow: number } | undefined;
}

export interface CombinedParts {
  gauge: { stitchesPer10cm: Estimate; rowsPer10cm: Estimate } | null;
  /** How well the parts agree, by the Birge ratio of the stitches; well above 1: the tension differs by place. */
  disagreement: number;
  bands: GaugeBand[];
  /** Whether it had to be assumed that the photos go from the first rows to the last. */
  assumedOrder: boolean;
  /** Names of photos that were left out because they must have been counted by another unit. */
  leftOut: string[];
}

/** No hand's tension differs by more from its own swatch, as a ratio; half and double counts do. */
const SAME_UNIT = 1.22;

/**
 * Relative standard uncertainty that photos of one piece share: the same reader looks at the same stitches, so
 * that ten photos are no surer of where a stitch ends than one.
 */
export const SHARED_RELATIVE_U = 0.0055;

/**
 * Joins photos of parts of one piece: one gauge from all, and bands of rows for the drift.
 *
 * Where she does not say which rows a photo shows, one photo that is not seen edge to edge ends at the row she is
 * on, and several are taken to go evenly from the first rows to the last.
 *
 * @param rowsDone rows of the piece so far
 * @param swatchStitchesPer10cm of the swatch: a photo far from it was counted by another unit and is left out
 * @example
 * combineParts(
 *   [
 *     {
 *       name: 'close.jpg',
 *       gauge: {
 *         stitchesPer10cm: { value: 14, standardUncertainty: 0.1 },
 *         rowsPer10cm: { value: 10, standardUncertainty: 0.1 },
 *       },
 *       localGauge: [],
 *       rowsCounted: null,
 *       rowsSeen: 20,
 *     },
 *   ],
 *   80,
 * ).gauge!.stitchesPer10cm.value.toFixed(1); // '14.0'
 */
export function combineParts(
  allParts: readonly PartReading[],
  rowsDone: number,
  swatchStitchesPer10cm?: number,
): CombinedParts {
  const isSame = ({ gauge }: PartReading): boolean =>
    !gauge ||
    swatchStitchesPer10cm === undefined ||
    Math.abs(Math.log(gauge.stitchesPer10cm.value / swatchStitchesPer10cm)) < Math.log(SAME_UNIT);
  const parts = allParts.map((part) => (isSame(part) ? part : { ...part, gauge: null, localGauge: [] }));
  const leftOut = allParts.filter((part) => !isSame(part)).map(({ name }) => name);
  const readable = parts.filter((part) => part.gauge !== null);
  const joined = (pick: (gauge: NonNullable<PartReading['gauge']>) => Uncertain) => {
    const own = readable.map((part) => {
      const { value, standardUncertainty } = pick(part.gauge!);
      const shared = Math.min(0.9 * standardUncertainty, SHARED_RELATIVE_U * value);
      return { value, standardUncertainty: Math.sqrt(standardUncertainty ** 2 - shared ** 2), shared };
    });
    const { value, standardUncertainty, birgeRatio } = combineEstimates(own);
    const shared = Math.min(...own.map((one) => one.shared));
    return { estimate: estimate(value, Math.hypot(standardUncertainty, shared), 0), birgeRatio };
  };
  const several = parts.filter((part) => part.localGauge.length > 0).length > 1;
  let assumedOrder = false;
  const bands = parts.flatMap((part, i) => {
    let rows = part.rowsInView;
    if (!rows) {
      const seen = Math.max(1, Math.min(rowsDone, part.rowsSeen ?? rowsDone));
      if (!several) {
        rows =
          part.rowsCounted !== null
            ? { fromRow: 1, toRow: Math.max(1, rowsDone) }
            : { fromRow: Math.max(1, rowsDone - seen + 1), toRow: Math.max(1, rowsDone) };
      } else {
        assumedOrder = true;
        const first = 1 + ((rowsDone - seen) * i) / (parts.length - 1);
        rows = { fromRow: Math.round(first), toRow: Math.round(first + seen - 1) };
      }
    }
    return gaugeBands(part.localGauge, {
      ...rows,
      photo: part.name,
      sharedRelativeU: part.gauge ? photoOwnRelativeU(part.gauge.stitchesPer10cm) : undefined,
    });
  });
  if (readable.length === 0) return { gauge: null, disagreement: 0, bands, assumedOrder, leftOut };
  const stitches = joined((gauge) => gauge.stitchesPer10cm);
  return {
    gauge: {
      stitchesPer10cm: stitches.estimate,
      rowsPer10cm: joined((gauge) => gauge.rowsPer10cm).estimate,
    },
    disagreement: stitches.birgeRatio,
    bands,
    assumedOrder,
    leftOut,
  };
}
