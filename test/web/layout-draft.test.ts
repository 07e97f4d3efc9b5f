import { describe, expect, it } from 'vitest';
import { planPiece } from '../../calc/index.ts';
import { FIRST_DRAFT } from '../../web/plan/draft.ts';
import { addColour, asLayout, removeColour } from '../../web/plan/layout-draft.ts';

const gauge = { stitchesPer10cm: 13, rowsPer10cm: 9 };

describe('Changing yarns and layout', () => {
  it('starts from choices that can be planned', () => {
    expect(planPiece({ ...FIRST_DRAFT, gauge }).chain % 10).toBe(2);
  });

  it('gives a new yarn an id of its own, even after one was taken out', () => {
    let draft = removeColour(FIRST_DRAFT, 'b');
    draft = addColour(addColour(draft, 'Moss'), 'Straw');
    const ids = draft.colours!.map((one) => one.id);
    expect(new Set(ids).size).toBe(ids.length);
    expect(ids).toHaveLength(4);
  });

  it.each(['solid', 'stripes', 'blocks'] as const)(
    'still plans after a yarn leaves a piece in %s',
    (kind) => {
      const draft = { ...FIRST_DRAFT, layout: asLayout(kind, FIRST_DRAFT) };
      const without = removeColour(draft, 'a'); // the border's colour, too
      const plan = planPiece({ ...without, gauge });
      expect(plan.yarn?.perColour.map((one) => one.colour)).toEqual(['b', 'c']);
    },
  );

  it('keeps the last yarn', () => {
    const one = removeColour(removeColour(FIRST_DRAFT, 'a'), 'b');
    expect(removeColour(one, 'c').colours).toHaveLength(1);
  });
});
