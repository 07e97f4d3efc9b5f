import type { PieceSize } from './checkPiece.ts';
import type { PartReading } from './combineParts.ts';
import { rowsRunUpright, type LaidPiece } from './rowsRunUpright.ts';
import type { Uncertain } from './uncertain.ts';

/** What a check asks of the measurement of one photo. */
export interface MeasuredPhoto extends LaidPiece {
  gauge: PartReading['gauge'];
  localGauge: PartReading['localGauge'];
  lattice: { stitchAngleDeg: number; rowAngleDeg: number } | null;
  counted: { rows: (Uncertain & { orElse?: number | null | undefined }) | null };
  overlay: { rowLinesPx: readonly unknown[] } | null;
  piece?:
    | (NonNullable<LaidPiece['piece']> & {
        status: string;
        widthMm: Uncertain | null;
        heightMm: Uncertain | null;
        widths: PieceSize['widths'];
        heights: PieceSize['heights'];
      })
    | null
    | undefined;
}

/** A measurement as `checkPiece` takes the photo of a part. */
export function partOfPhoto(
  { gauge, localGauge, lattice, counted, overlay }: MeasuredPhoto,
  name: string,
  rowsInView?: PartReading['rowsInView'],
): PartReading {
  return {
    name,
    gauge,
    localGauge,
    rowAngleDeg: lattice?.rowAngleDeg,
    rowsCounted: counted.rows && Math.round(counted.rows.value),
    rowsCountedU: counted.rows?.standardUncertainty,
    rowsOrElse: counted.rows?.orElse,
    rowsSeen: overlay && overlay.rowLinesPx.length - 1,
    rowsInView,
  };
}

/** The size of a piece that a photo shows; null where its outline is doubtful: nothing is worked out from that. */
export function sizeInPhoto(photo: MeasuredPhoto): PieceSize | null {
  const { piece } = photo;
  if (piece?.status !== 'ok' || !piece.widthMm || !piece.heightMm) return null;
  const { widthMm, heightMm, widths, heights } = piece;
  return { widthMm, heightMm, widths, heights, rowsUpright: rowsRunUpright(photo) };
}
