import type { PlanSpec } from '../../calc/index.ts';

/** What the maker calls a colour; its id where she did not say. */
export const nameOfColour = (id: string, colours: NonNullable<PlanSpec['colours']>): string =>
  colours.find((colour) => colour.id === id)?.name ?? id;
