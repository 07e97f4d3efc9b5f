import type { PlanSpec } from './planSpec.ts';

/** A throw in three colours of our own invention, to be planned from the first sample's gauge: something to look around in. */
export const SAMPLE_PLAN: Omit<PlanSpec, 'gauge' | 'units' | 'terms'> = {
  stitch: 'hdc',
  target: { widthMm: 1200, heightMm: 1500, rounding: 'nearest' },
  multiple: { m: 10, plus: 2, parity: 'any' },
  colours: [
    { id: 'a', name: 'Slate', hex: '#52687c', skeinGrams: 100, skeinMetres: 210 },
    { id: 'b', name: 'Oat', hex: '#dccfb4', skeinGrams: 100, skeinMetres: 210 },
    { id: 'c', name: 'Rust', hex: '#a9533b', skeinGrams: 100, skeinMetres: 210 },
  ],
  layout: {
    kind: 'stripes',
    stripes: [
      { colour: 'a', rows: 2 },
      { colour: 'b', rows: 2 },
      { colour: 'c', rows: 2 },
    ],
  },
  border: { rounds: 3, stitch: 'post-rib', colour: 'a' },
};
