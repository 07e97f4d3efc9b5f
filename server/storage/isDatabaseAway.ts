/**
 * SQLSTATEs of a PostgreSQL that is stopping, starting, crashed or has no connection to spare: the class "connection
 * exception", and from the class "operator intervention" and others. PostgreSQL documentation, appendix A.
 */
const AWAY_STATES = /^(08\w{3}|57P0[1-3]|53300)$/;
/** What the system says of a connection that broke or could not be made. */
const BROKEN = new Set(['ECONNREFUSED', 'ECONNRESET', 'EPIPE', 'ETIMEDOUT', 'EHOSTUNREACH', 'ENOTFOUND']);

/** What the driver itself says carries no code. */
const WORDS = /^Connection terminated|is not queryable$|^timeout exceeded when trying to connect/;

/** Whether an error says that the database cannot be reached just now, so that trying again makes sense. */
export function isDatabaseAway(error: unknown): boolean {
  const { code, message } = (error ?? {}) as { code?: unknown; message?: unknown };
  if (typeof code === 'string' && (AWAY_STATES.test(code) || BROKEN.has(code))) return true;
  return typeof message === 'string' && WORDS.test(message);
}
