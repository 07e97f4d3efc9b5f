import { useState, type FormEvent } from 'react';
import { deleteAccount, sentenceOf, signOut } from '../lib/api.ts';
import { text } from '../lib/text.ts';
import { AccountField } from './account-field.tsx';
import { ChangePasswordForm } from './change-password-form.tsx';
import { useSession } from './session.tsx';

/** For whoever is signed in: out again, another password, or leaving for good. Nothing where nobody signs in. */
export function OwnAccount() {
  const { session, ask } = useSession();
  const [said, setSaid] = useState<{ sentence: string; isWrong: boolean } | null>(null);
  if (!session?.account) return null;

  const leave = (work: Promise<void>) =>
    work.then(ask).catch((error: unknown) => setSaid({ sentence: sentenceOf(error), isWrong: true }));
  const leaveForGood = (event: FormEvent<HTMLFormElement>) => {
    event.preventDefault();
    const given = new FormData(event.currentTarget);
    void leave(deleteAccount(String(given.get('password') ?? '')));
  };

  return (
    <details className="own-account">
      <summary>{text('account.own', { name: session.account.name })}</summary>
      <button type="button" className="button" onClick={() => void leave(signOut())}>
        {text('account.signOut')}
      </button>
      <ChangePasswordForm
        heading={text('account.changeHeading')}
        oldLabel={text('account.oldPassword')}
        onChanged={() => {
          setSaid({ sentence: text('account.changed'), isWrong: false });
          ask();
        }}
      />
      <form className="account-form" onSubmit={leaveForGood}>
        <h2>{text('account.deleteHeading')}</h2>
        <p>{text('account.deleteHow')}</p>
        <AccountField name="password" label={text('account.password')} autoComplete="current-password" />
        <button className="button">{text('account.delete')}</button>
      </form>
      {said && (
        <p className={said.isWrong ? 'wrong' : undefined} role={said.isWrong ? 'alert' : 'status'}>
          {said.sentence}
        </p>
      )}
    </details>
  );
}
