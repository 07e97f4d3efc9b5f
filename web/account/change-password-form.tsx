import { useState, type FormEvent } from 'react';
import { changePassword, sentenceOf } from '../lib/api.ts';
import { text } from '../lib/text.ts';
import { Wrong } from '../lib/wrong.tsx';
import { AccountField } from './account-field.tsx';

export interface ChangePasswordFormProps {
  heading: string;
  /** What the password that she came in with is called. */
  oldLabel: string;
  onChanged: () => void;
}

/** Another password in place of the one that she came in with. */
export function ChangePasswordForm({ heading, oldLabel, onChanged }: ChangePasswordFormProps) {
  const [wrong, setWrong] = useState<string | null>(null);
  const change = (event: FormEvent<HTMLFormElement>) => {
    event.preventDefault();
    const form = event.currentTarget;
    const given = new FormData(form);
    const of = (field: string) => String(given.get(field) ?? '');
    changePassword(of('password'), of('newPassword'))
      .then(() => {
        form.reset();
        setWrong(null);
        onChanged();
      })
      .catch((error: unknown) => setWrong(sentenceOf(error)));
  };
  return (
    <form className="account-form" onSubmit={change}>
      <h2>{heading}</h2>
      <AccountField name="password" label={oldLabel} autoComplete="current-password" />
      <AccountField
        name="newPassword"
        label={text('account.newPassword')}
        help={text('account.passwordHelp')}
        autoComplete="new-password"
      />
      <Wrong what={wrong} />
      <button className="button">{text('account.change')}</button>
    </form>
  );
}
