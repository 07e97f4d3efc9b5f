/** One category of the Standard Yarn Weight System. Gauges are per 4 in, hooks in mm. */
export interface YarnCategory {
  number: number;
  name: string;
  knitStitchesPer4in: { low: number; high: number };
  crochetStitchesPer4in: { low: number; high: number };
  /** Which crochet stitch the crochet gauge is for. */
  crochetStitch: 'sc' | 'dc';
  hookMm: { low: number; high: number };
}

/**
 * Standard Yarn Weight System (Craft Yarn Council, yarnstandards.com; "guidelines only"). Open ends are
 * closed at a believable value: 1 stitch for jumbo, 30 mm for its hook.
 */
export const YARN_CATEGORIES: readonly YarnCategory[] = [
  category(0, 'lace', [33, 40], [32, 42], [1.4, 1.6], 'dc'),
  category(1, 'super fine', [27, 32], [21, 32], [2.25, 3.5]),
  category(2, 'fine', [23, 26], [16, 20], [3.5, 4.5]),
  category(3, 'light', [21, 24], [12, 17], [4.5, 5.5]),
  category(4, 'medium', [16, 20], [11, 14], [5.5, 6.5]),
  category(5, 'bulky', [12, 15], [8, 11], [6.5, 9]),
  category(6, 'super bulky', [7, 11], [6, 9], [9, 16]),
  category(7, 'jumbo', [1, 6], [1, 5], [16, 30]),
];

/**
 * Categories whose guideline range holds a gauge given per 4 in.
 *
 * @example yarnCategoriesFor(13, 'crochet').map((each) => each.name); // ['light', 'medium']
 */
export function yarnCategoriesFor(stitchesPer4in: number, craft: 'crochet' | 'knit'): YarnCategory[] {
  return YARN_CATEGORIES.filter((each) => {
    const range = craft === 'knit' ? each.knitStitchesPer4in : each.crochetStitchesPer4in;
    return stitchesPer4in >= range.low && stitchesPer4in <= range.high;
  });
}

function category(
  number: number,
  name: string,
  knit: [number, number],
  crochet: [number, number],
  hook: [number, number],
  crochetStitch: 'sc' | 'dc' = 'sc',
): YarnCategory {
  const range = ([low, high]: [number, number]) => ({ low, high });
  return {
    number,
    name,
    knitStitchesPer4in: range(knit),
    crochetStitchesPer4in: range(crochet),
    crochetStitch,
    hookMm: range(hook),
  };
}
