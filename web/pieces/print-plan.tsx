import { useEffect, useState, type ReactNode } from 'react';
import { usePreferences } from '../lib/preferences.tsx';
import { Ribbon } from '../lib/ribbon.tsx';
import { goTo, type PiecePart } from '../lib/route.ts';
import { text } from '../lib/text.ts';

/**
 * Prints the plan, from whichever part of the piece it is asked for, on the maker's paper; the children are other
 * ways onto the same paper.
 */
export function PrintPlan({
  pieceId,
  part,
  children,
}: {
  pieceId: string;
  part: PiecePart;
  children?: ReactNode;
}) {
  const { preferences, change } = usePreferences();
  const [asked, setAsked] = useState(false);
  useEffect(() => {
    if (!asked || part !== 'plan') return;
    setAsked(false);
    // After the frame in which the plan is drawn.
    requestAnimationFrame(() => print());
  }, [asked, part]);
  return (
    <div className="line-up line-up-middle print-plan">
      <button
        type="button"
        className="button"
        onClick={() => {
          setAsked(true);
          goTo({ screen: 'piece', pieceId, part: 'plan' });
        }}
      >
        {text('out.print')}
      </button>
      {children}
      <Ribbon
        label={text('out.paper')}
        value={preferences.paper}
        onChange={(paper) => change({ paper })}
        options={[
          { value: 'a4', label: text('out.a4') },
          { value: 'letter', label: text('out.letter') },
        ]}
      />
    </div>
  );
}
