import { text } from '../lib/text.ts';
import { ChangePasswordForm } from './change-password-form.tsx';

/** For a maker who forgot hers and was given a password for one time: the next thing to do is to choose her own. */
export function OneTimeNotice({ onChanged }: { onChanged: () => void }) {
  return (
    <section className="sheet one-time" aria-label={text('account.oneTimeHeading')}>
      <p role="status">{text('account.oneTime')}</p>
      <ChangePasswordForm
        heading={text('account.oneTimeHeading')}
        oldLabel={text('account.oneTimePassword')}
        onChanged={onChanged}
      />
    </section>
  );
}
