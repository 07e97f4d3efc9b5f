/**
 * Half the width of an estimate's 95 % interval: what stands after the ±.
 *
 * @example
 * spreadOf({ low95: 9.4, high95: 10.6 }); // 0.6
 */
export const spreadOf = ({ low95, high95 }: { low95: number; high95: number }): number =>
  (high95 - low95) / 2;
