import { useState, type FormEvent } from 'react';
import { changePassword, deleteAccount, sentenceOf, signOut } from '../lib/api.ts';
import { text } from '../lib/text.ts';
import { AccountField } from './account-field.tsx';
import { useSession } from './session.tsx';

/** For whoever is signed in: out again, another password, or leaving for good. Nothing where nobody signs in. */
export function OwnAccount() {
  const { session, ask } = useSession();
  const [said, setSaid] = useState<{ sentence: string; isWrong: boolean } | null>(null);
  if (!session?.account) return null;

  const run = (work: Promise<void>, done: string) =>
    work
      .then(() => {
        setSaid({ sentence: done, isWrong: false });
        ask();
      })
      .catch((error: unknown) => setSaid({ sentence: sentenceOf(error), isWrong: true }));
  const ofForm =
    (work: (of: (field: string) => string) => Promise<void>, done: string) =>
    (event: FormEvent<HTMLFormElement>) => {
      event.preventDefault();
      const form = event.currentTarget;
      const given = new FormData(form);
      void run(
        work((field) => String(given.get(field) ?? '')).then(() => form.reset()),
        done,
      );
    };

  return (
    <details className="own-account">
      <summary>{text('account.own', { name: session.account.name })}</summary>
      <button type="button" className="button" onClick={() => void run(signOut(), '')}>
        {text('account.signOut')}
      </button>
      <form
        className="account-form"
        onSubmit={ofForm((of) => changePassword(of('password'), of('newPassword')), text('account.changed'))}
      >
        <h2>{text('account.changeHeading')}</h2>
        <AccountField name="password" label={text('account.oldPassword')} autoComplete="current-password" />
        <AccountField
          name="newPassword"
          label={text('account.newPassword')}
          help={text('account.passwordHelp')}
          autoComplete="new-password"
        />
        <button className="button">{text('account.change')}</button>
      </form>
      <form className="account-form" onSubmit={ofForm((of) => deleteAccount(of('password')), '')}>
        <h2>{text('account.deleteHeading')}</h2>
        <p>{text('account.deleteHow')}</p>
        <AccountField name="password" label={text('account.password')} autoComplete="current-password" />
        <button className="button">{text('account.delete')}</button>
      </form>
      {said?.sentence && (
        <p className={said.isWrong ? 'wrong' : undefined} role={said.isWrong ? 'alert' : 'status'}>
          {said.sentence}
        </p>
      )}
    </details>
  );
}
