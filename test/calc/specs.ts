import type { PlanSpec } from '../../calc/index.ts';

/** A two-colour block blanket of our own invention, used all over the tests. */
export const BLANKET: PlanSpec = {
  name: 'Two-tone blanket',
  gauge: {
    stitchesPer10cm: { value: 13.5, standardUncertainty: 0.15 },
    rowsPer10cm: { value: 9.1, standardUncertainty: 0.1 },
  },
  stitch: 'herringbone-hdc',
  target: { widthMm: '35 in', heightMm: '40 in' },
  multiple: { m: 6, plus: 2, parity: 'odd' },
  colours: [
    { id: 'sand', name: 'Sand', skeinGrams: 100, skeinMetres: 200, dyeLots: [{ lot: '12', skeins: 3 }] },
    { id: 'moss', name: 'Moss', skeinGrams: 100, skeinMetres: 200 },
  ],
  layout: {
    kind: 'blocks',
    bands: [
      { rows: 2, across: ['sand', 'moss'] },
      { rows: 2, across: ['moss', 'sand'] },
    ],
  },
  border: { rounds: 3, stitch: 'post-rib', colour: 'sand' },
  yarn: { swatchWeight: { stitches: 20, rows: 14, grams: '14 g' } },
};

/** The plainest piece there is. */
export const PLAIN: PlanSpec = {
  gauge: {
    stitchesPer10cm: { value: 13.5, standardUncertainty: 0.15 },
    rowsPer10cm: { value: 9, standardUncertainty: 0.1 },
  },
  stitch: 'hdc',
  target: { widthMm: 890, heightMm: 1020 },
  colours: [{ id: 'main', skeinGrams: 100, skeinMetres: 200 }],
  yarn: { swatchWeight: { stitches: 20, rows: 14, grams: 14 } },
};
