/** Letters and digits of any language, with dots, hyphens and underscores between; 2 to 40 characters. */
export const ACCOUNT_NAME = /^[\p{L}\p{N}][\p{L}\p{M}\p{N}._-]{1,39}$/u;
export const SHORTEST_PASSWORD = 10;
/** Hashing takes longer with length; nobody needs more. */
export const LONGEST_PASSWORD = 200;
