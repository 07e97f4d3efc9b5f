import type { ClientRateLimitInfo, Options, Store } from 'express-rate-limit';
import { sql, type Kysely } from 'kysely';
import { hashSecret } from '../access.ts';
import type { Tables } from '../storage/tables.ts';

/**
 * Counts attempts in the database, so that guessing is slowed down across all servers that share it, and a
 * restart does not start the count again. Only hashes of what is counted are kept.
 */
export class AttemptStore implements Store {
  readonly localKeys = false;
  readonly #db: Kysely<Tables>;
  readonly #name: string;
  #windowMs = 60_000;

  constructor(db: Kysely<Tables>, name: string) {
    this.#db = db;
    this.#name = name;
  }

  init({ windowMs }: Options): void {
    this.#windowMs = windowMs;
  }

  async increment(key: string): Promise<ClientRateLimitInfo> {
    const until = new Date(Date.now() + this.#windowMs);
    const now = new Date();
    const { rows } = await sql<{ hits: number; until: Date }>`
      insert into attempts (key_hash, hits, until) values (${this.#keyOf(key)}, 1, ${until})
      on conflict (key_hash) do update set
        hits = case when attempts.until < ${now} then 1 else attempts.hits + 1 end,
        until = case when attempts.until < ${now} then ${until} else attempts.until end
      returning hits, until`.execute(this.#db);
    return { totalHits: rows[0]!.hits, resetTime: rows[0]!.until };
  }

  async decrement(key: string): Promise<void> {
    await sql`update attempts set hits = greatest(0, hits - 1) where key_hash = ${this.#keyOf(key)}`.execute(
      this.#db,
    );
  }

  async resetKey(key: string): Promise<void> {
    await sql`delete from attempts where key_hash = ${this.#keyOf(key)}`.execute(this.#db);
  }

  #keyOf(key: string): string {
    return hashSecret(`${this.#name} ${key}`);
  }
}
