import { useId } from 'react';

/** One line of an account's form; names that hold “password” are not shown while they are typed. */
export function AccountField({
  name,
  label,
  help,
  autoComplete,
}: {
  name: string;
  label: string;
  help?: string | undefined;
  autoComplete: string;
}) {
  const id = useId();
  return (
    <p className="field">
      <label htmlFor={id}>{label}</label>
      <input
        id={id}
        name={name}
        type={/password/i.test(name) ? 'password' : 'text'}
        autoComplete={autoComplete}
        autoCapitalize="none"
        spellCheck={false}
        required
        aria-describedby={help ? `${id}-help` : undefined}
      />
      {help && (
        <span id={`${id}-help`} className="field-help">
          {help}
        </span>
      )}
    </p>
  );
}
