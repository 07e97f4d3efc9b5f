/** A hook size: diameter of the shaft, and the US letter and number printed on hooks of that size. */
export interface HookSize {
  mm: number;
  us: string | null;
}

/**
 * Crochet hook sizes with US letters (Craft Yarn Council, yarnstandards.com, "Crochet hook sizes";
 * "letter or number may vary: rely on the millimetre sizing"). Sizes without a US letter have `null`.
 */
export const HOOK_SIZES: readonly HookSize[] = [
  { mm: 2.25, us: 'B-1' },
  { mm: 2.5, us: null },
  { mm: 2.75, us: 'C-2' },
  { mm: 3.125, us: 'D' },
  { mm: 3.25, us: 'D-3' },
  { mm: 3.5, us: 'E-4' },
  { mm: 3.75, us: 'F-5' },
  { mm: 4, us: 'G-6' },
  { mm: 4.25, us: 'G' },
  { mm: 4.5, us: '7' },
  { mm: 5, us: 'H-8' },
  { mm: 5.25, us: 'I' },
  { mm: 5.5, us: 'I-9' },
  { mm: 5.75, us: 'J' },
  { mm: 6, us: 'J-10' },
  { mm: 6.5, us: 'K-10½' },
  { mm: 7, us: null },
  { mm: 8, us: 'L-11' },
  { mm: 9, us: 'M/N-13' },
  { mm: 10, us: 'N/P-15' },
  { mm: 11.5, us: 'P-16' },
  { mm: 12, us: null },
  { mm: 15, us: 'P/Q' },
  { mm: 15.75, us: 'Q' },
  { mm: 16, us: 'Q' },
  { mm: 19, us: 'S' },
  { mm: 25, us: 'T/U/X' },
  { mm: 30, us: 'T/X' },
];

/**
 * The listed size closest to a diameter in mm (by ratio, as sizes are spaced more widely when thicker).
 *
 * @example nearestHookSize(5.1).us; // 'H-8'
 */
export function nearestHookSize(mm: number): HookSize {
  return HOOK_SIZES.reduce((best, size) =>
    Math.abs(Math.log(size.mm / mm)) < Math.abs(Math.log(best.mm / mm)) ? size : best,
  );
}

/**
 * A hook size for people.
 *
 * @example formatHook(5); // '5 mm (US H-8)'
 */
export function formatHook(mm: number): string {
  const listed = HOOK_SIZES.find((size) => Math.abs(size.mm - mm) < 0.001);
  return listed?.us ? `${listed.mm} mm (US ${listed.us})` : `${Math.round(mm * 100) / 100} mm`;
}
