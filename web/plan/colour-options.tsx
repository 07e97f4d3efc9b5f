import type { DraftColour } from './layout-draft.ts';

/** The plan's yarns as the choices of a select. */
export function ColourOptions({ colours }: { colours: readonly Pick<DraftColour, 'id' | 'name'>[] }) {
  return colours.map((one) => (
    <option key={one.id} value={one.id}>
      {one.name ?? one.id}
    </option>
  ));
}
