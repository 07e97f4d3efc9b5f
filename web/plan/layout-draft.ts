import type { PlanDraft } from './draft.ts';

export type DraftLayout = NonNullable<PlanDraft['layout']>;

/** What the fields of one kind of layout are given. */
export interface LayoutPartProps<Kind extends DraftLayout['kind']> {
  draft: PlanDraft;
  layout: Extract<DraftLayout, { kind: Kind }>;
  onChange: (layout: DraftLayout) => void;
}
export type DraftColour = NonNullable<PlanDraft['colours']>[number];

/** Colours a new one starts as, in turn: far enough apart to be told in the picture. */
const FRESH_HEXES = ['#52687c', '#dccfb4', '#a9533b', '#6f8f6a', '#caa23a', '#7a4f6d', '#2f3e4c', '#c98b8b'];

/** The draft with one colour more, under an id not in use. */
export function addColour(draft: PlanDraft, name: string): PlanDraft {
  const colours = draft.colours ?? [];
  const ids = new Set(colours.map((one) => one.id));
  let id = 'a';
  for (let n = 0; ids.has(id); n++) id = n < 26 ? String.fromCharCode(97 + n) : `c${n}`;
  const like = colours[0];
  const added: DraftColour = {
    id,
    name,
    hex: FRESH_HEXES[colours.length % FRESH_HEXES.length],
    skeinGrams: like?.skeinGrams,
    skeinMetres: like?.skeinMetres,
  };
  return { ...draft, colours: [...colours, added] };
}

/** The draft without a colour; wherever it was used, the first that remains takes its place. */
export function removeColour(draft: PlanDraft, id: string): PlanDraft {
  const colours = (draft.colours ?? []).filter((one) => one.id !== id);
  const heir = colours[0]?.id;
  if (!heir) return draft;
  const swap = (one: string | undefined) => (one === id ? heir : one);
  const swapAll = (ids: string[]) => ids.map((one) => (one === id ? heir : one));
  const { layout, border } = draft;
  let changed: DraftLayout | undefined = layout;
  if (layout?.kind === 'solid') changed = { ...layout, colour: swap(layout.colour) };
  else if (layout?.kind === 'stripes') {
    const stripes = layout.stripes.filter((stripe) => stripe.colour !== id);
    changed = {
      ...layout,
      stripes: stripes.length > 0 ? stripes : [{ colour: heir, rows: 2 }],
      endWith: layout.endWith === id ? undefined : layout.endWith,
    };
  } else if (layout?.kind === 'blocks')
    changed = {
      ...layout,
      bands: layout.bands.map((band) => ({ ...band, across: swapAll(band.across) })),
    };
  else if (layout?.kind === 'grid') changed = { ...layout, cells: layout.cells.map(swapAll) };
  const borderColour = border?.colour;
  return {
    ...draft,
    colours,
    layout: changed,
    border: border && {
      ...border,
      colour: Array.isArray(borderColour) ? swapAll(borderColour) : swap(borderColour),
    },
  };
}

/** The same colours under another kind of layout, starting from something sensible. */
export function asLayout(kind: 'solid' | 'stripes' | 'blocks', draft: PlanDraft): DraftLayout {
  const ids = (draft.colours ?? []).map((one) => one.id);
  const first = ids[0] ?? 'a';
  const second = ids[1] ?? first;
  const third = ids[2] ?? first;
  switch (kind) {
    case 'solid':
      return { kind, colour: first };
    case 'stripes':
      return { kind, stripes: ids.map((colour) => ({ colour, rows: 2 })) };
    case 'blocks':
      return {
        kind,
        blockStitches: draft.multiple?.m && draft.multiple.m > 3 ? draft.multiple.m : 10,
        bands: [
          { rows: 10, across: [first, second] },
          { rows: 10, across: [third, first] },
        ],
        carried: true,
      };
  }
}

/** The list with one line changed places with the one before it. */
export function movedUp<T>(list: T[], index: number): T[] {
  const moved = [...list];
  moved.splice(index - 1, 0, ...moved.splice(index, 1));
  return moved;
}
