interface At {
  x: number;
  y: number;
}

/** What is asked of a measurement. */
export interface LaidPiece {
  gauge: unknown;
  /** Direction of the next stitch along the row, degrees from the x axis. */
  lattice: { stitchAngleDeg: number } | null;
  /** Corners in the same photo: top left, top right, bottom right, bottom left. */
  piece?: { cornersPx: readonly [At, At, At, At] | null } | null;
}

/**
 * Whether the rows of a piece run up and down in its photo: the piece lies on its side there.
 *
 * @returns null where stitches or corners were not seen
 * @example
 * rowsRunUpright({
 *   gauge: {},
 *   lattice: { stitchAngleDeg: -80 },
 *   piece: { cornersPx: [{ x: 0, y: 0 }, { x: 9, y: 0 }, { x: 9, y: 9 }, { x: 0, y: 9 }] },
 * }); // true
 */
export function rowsRunUpright({ gauge, lattice, piece }: LaidPiece): boolean | null {
  if (!gauge || !lattice || !piece?.cornersPx) return null;
  const [topLeft, topRight, bottomRight, bottomLeft] = piece.cornersPx;
  const angle = (lattice.stitchAngleDeg * Math.PI) / 180;
  const along = (x: number, y: number): number =>
    Math.abs(x * Math.cos(angle) + y * Math.sin(angle)) / (Math.hypot(x, y) || 1);
  const across = along(
    topRight.x - topLeft.x + bottomRight.x - bottomLeft.x,
    topRight.y - topLeft.y + bottomRight.y - bottomLeft.y,
  );
  const down = along(
    bottomLeft.x - topLeft.x + bottomRight.x - topRight.x,
    bottomLeft.y - topLeft.y + bottomRight.y - topRight.y,
  );
  return down > across;
}
