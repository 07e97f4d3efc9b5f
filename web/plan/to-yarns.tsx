import { text } from '../lib/text.ts';

/** Where the label of a skein is filled in: the fields may be far down the page. */
export const YARNS_ID = 'yarns';

/** Leads to the first label that is still empty. Nothing where the fields are not on the screen. */
export function ToYarns() {
  const go = () => {
    const fields = document.getElementById(YARNS_ID);
    fields?.scrollIntoView({ block: 'start' });
    const labels = [...(fields?.querySelectorAll<HTMLInputElement>('input[inputmode]') ?? [])];
    (labels.find((one) => one.value === '') ?? labels[0])?.focus({ preventScroll: true });
  };
  return (
    <button type="button" className="button no-print" onClick={go}>
      {text('yarn.fillIn')}
    </button>
  );
}
