import { useState, type FormEvent } from 'react';
import { createAccount, sentenceOf, signIn } from '../lib/api.ts';
import { text } from '../lib/text.ts';
import { Wrong } from '../lib/wrong.tsx';
import { AccountField } from './account-field.tsx';

/** Signs in, or makes an account: a name and a password, no e-mail. */
export function SignInScreen({
  invitationNeeded,
  onEntered,
}: {
  invitationNeeded: boolean;
  onEntered: () => void;
}) {
  const [isNew, setIsNew] = useState(false);
  const [wrong, setWrong] = useState<string | null>(null);
  const [isBusy, setIsBusy] = useState(false);

  const enter = (event: FormEvent<HTMLFormElement>) => {
    event.preventDefault();
    const given = new FormData(event.currentTarget);
    const of = (field: string) => String(given.get(field) ?? '');
    const entry = { name: of('name'), password: of('password') };
    setIsBusy(true);
    setWrong(null);
    (isNew ? createAccount({ ...entry, invitation: of('invitation') }) : signIn(entry))
      .then(onEntered)
      .catch((error: unknown) => {
        setWrong(sentenceOf(error));
        setIsBusy(false);
      });
  };

  return (
    <form className="sheet account-form" onSubmit={enter}>
      <h1>{text(isNew ? 'account.newHeading' : 'account.signInHeading')}</h1>
      <AccountField name="name" label={text('account.name')} autoComplete="username" />
      <AccountField
        name="password"
        label={text('account.password')}
        help={isNew ? text('account.passwordHelp') : undefined}
        autoComplete={isNew ? 'new-password' : 'current-password'}
      />
      {isNew && invitationNeeded && (
        <AccountField name="invitation" label={text('account.invitation')} autoComplete="off" />
      )}
      <Wrong what={wrong} />
      <button className="button button-main" disabled={isBusy}>
        {text(isNew ? 'account.make' : 'account.signIn')}
      </button>
      <button
        type="button"
        className="button button-quiet"
        onClick={() => {
          setIsNew(!isNew);
          setWrong(null);
        }}
      >
        {text(isNew ? 'account.haveOne' : 'account.makeOne')}
      </button>
    </form>
  );
}
