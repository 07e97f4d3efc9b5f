import { MM_PER_INCH } from './units.ts';

export interface SizePreset {
  key: string;
  name: string;
  widthMm: number;
  heightMm: number;
  forInfant: boolean;
  /** Where the dimensions are published, or "common practice". */
  source: string;
}

const inches = (
  key: string,
  name: string,
  width: number,
  height: number,
  source: string,
  forInfant = false,
): SizePreset => ({
  key,
  name,
  widthMm: width * MM_PER_INCH,
  heightMm: height * MM_PER_INCH,
  forInfant,
  source,
});

const CUSTOM = 'common practice';
const BED = 'common practice: US trade mattress sizes; makers vary by about half an inch';

/** Named sizes, smallest first. Bed sizes are the mattress top alone: add the drop she wants. */
export const SIZE_PRESETS: readonly SizePreset[] = [
  inches('washcloth', 'Washcloth', 8, 8, CUSTOM),
  { ...inches('cushion-40', 'Cushion front, 40 cm', 0, 0, CUSTOM), widthMm: 400, heightMm: 400 },
  { ...inches('cushion-45', 'Cushion front, 45 cm', 0, 0, CUSTOM), widthMm: 450, heightMm: 450 },
  { ...inches('cushion-50', 'Cushion front, 50 cm', 0, 0, CUSTOM), widthMm: 500, heightMm: 500 },
  inches('scarf', 'Scarf', 8, 70, CUSTOM),
  inches('preemie-blanket', 'Blanket for a premature baby', 20, 20, CUSTOM, true),
  inches('stroller-blanket', 'Stroller blanket', 30, 36, CUSTOM, true),
  inches('baby-blanket', 'Baby blanket', 36, 36, CUSTOM, true),
  inches(
    'crib-mattress',
    'US full-size crib mattress',
    27.25,
    51.625,
    '16 CFR part 1219 (from memory)',
    true,
  ),
  inches('lap-blanket', 'Lap blanket', 36, 48, CUSTOM),
  inches('throw', 'Throw', 50, 60, CUSTOM),
  inches('bed-twin', 'US twin mattress', 38, 75, BED),
  inches('bed-full', 'US full mattress', 53, 75, BED),
  inches('bed-queen', 'US queen mattress', 60, 80, BED),
  inches('bed-king', 'US king mattress', 76, 80, BED),
  inches('bed-cal-king', 'US California king mattress', 72, 84, BED),
];
