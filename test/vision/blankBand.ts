import type { StraightBand } from '../../vision/scale/ruler/straightenBand.ts';

/** Px from one tick to the next, on the bands drawn here. */
export const PITCH = 16;

/**
 * Blank paper along a scale of forty ticks, and a pen for it.
 *
 * @param zero row in the middle of the short ticks
 */
export function blankBand(rows: number, zero: number) {
  const columns = 41 * PITCH;
  const data = new Float32Array(rows * columns).fill(0.8);
  const band = plainBand({ data, columns, rows, zero, pitch: PITCH });
  /** Columns and rows from the first to before the last. */
  const ink = (
    columnsOf: readonly [number, number],
    rowsOf: readonly [number, number],
    value = 0.2,
  ): void => {
    for (let r = rowsOf[0]; r < rowsOf[1]; r++)
      data.fill(value, r * columns + columnsOf[0], r * columns + columnsOf[1]);
  };
  return { band, ink };
}

/**
 * A band drawn at a sample a pixel, straight and upright.
 *
 * @param zero row that lies along the band's middle line
 */
export function plainBand({
  data,
  columns,
  rows,
  zero,
  pitch,
}: Pick<StraightBand, 'data' | 'columns' | 'rows'> & { zero: number; pitch: number }): StraightBand {
  return {
    data,
    columns,
    rows,
    columnsPerPx: 1,
    alongStart: 0,
    acrossStart: -zero,
    bowPx: 0,
    pitchAt: () => pitch,
    leanAt: () => 0,
    toPoint: (x, y) => ({ x, y }),
  };
}
