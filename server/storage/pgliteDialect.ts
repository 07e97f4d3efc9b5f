import type { PGlite } from '@electric-sql/pglite';
import {
  CompiledQuery,
  PostgresAdapter,
  PostgresIntrospector,
  PostgresQueryCompiler,
  type DatabaseConnection,
  type Dialect,
  type Driver,
  type QueryResult,
} from 'kysely';
import type { Turnstile } from './turnstile.ts';

/**
 * Lets kysely talk to the embedded database.
 *
 * PGlite has one connection. Whoever holds it may be in a transaction, so everybody (kysely and the job
 * queue) passes the same turnstile.
 */
export class PgliteDialect implements Dialect {
  readonly #pglite: PGlite;
  readonly #turnstile: Turnstile;

  constructor(pglite: PGlite, turnstile: Turnstile) {
    this.#pglite = pglite;
    this.#turnstile = turnstile;
  }

  createAdapter = () => new PostgresAdapter();
  createQueryCompiler = () => new PostgresQueryCompiler();
  createIntrospector = (db: ConstructorParameters<typeof PostgresIntrospector>[0]) =>
    new PostgresIntrospector(db);
  createDriver = () => new PgliteDriver(this.#pglite, this.#turnstile);
}

class PgliteDriver implements Driver {
  readonly #connection: DatabaseConnection;
  readonly #turnstile: Turnstile;
  #leave: (() => void) | undefined;

  constructor(pglite: PGlite, turnstile: Turnstile) {
    this.#turnstile = turnstile;
    this.#connection = {
      async executeQuery<R>({ sql, parameters }: CompiledQuery): Promise<QueryResult<R>> {
        const { rows, affectedRows } = await pglite.query<R>(sql, [...parameters]);
        return { rows, numAffectedRows: BigInt(affectedRows ?? 0) };
      },
      // eslint-disable-next-line require-yield
      async *streamQuery() {
        throw new Error('The embedded database does not stream.');
      },
    };
  }

  async init(): Promise<void> {}

  async acquireConnection(): Promise<DatabaseConnection> {
    this.#leave = await this.#turnstile.enter();
    return this.#connection;
  }

  async releaseConnection(): Promise<void> {
    const leave = this.#leave;
    this.#leave = undefined;
    leave?.();
  }

  async beginTransaction(connection: DatabaseConnection): Promise<void> {
    await connection.executeQuery(raw('begin'));
  }

  async commitTransaction(connection: DatabaseConnection): Promise<void> {
    await connection.executeQuery(raw('commit'));
  }

  async rollbackTransaction(connection: DatabaseConnection): Promise<void> {
    await connection.executeQuery(raw('rollback'));
  }

  async destroy(): Promise<void> {}
}

const raw = (sql: string): CompiledQuery => CompiledQuery.raw(sql);
