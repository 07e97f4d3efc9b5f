/** Exit codes of the command line. */
export const EXIT = { answered: 0, fault: 1, badInput: 2, refused: 3 } as const;

/**
 * Input that cannot be used, said in the maker's words.
 *
 * @example
 * throw new InputError('There is no file "swtach.jpg".', 'Check the name.');
 */
export class InputError extends Error {
  readonly hint: string | undefined;

  constructor(message: string, hint?: string) {
    super(message);
    this.name = 'InputError';
    this.hint = hint;
  }
}
