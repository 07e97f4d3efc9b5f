import { sql, type Kysely, type Migration } from 'kysely';

/**
 * The schema's history, oldest first. A published entry is never edited: changes are appended.
 * All pending entries run in one transaction, on the embedded database and on PostgreSQL alike.
 */
export const MIGRATIONS: Record<string, Migration> = {
  '0001-pieces-photos-measurements': {
    async up(db: Kysely<never>): Promise<void> {
      await sql`
        create table photos (
          id uuid primary key,
          owner_id uuid not null,
          blob_key text not null unique,
          width_px integer not null check (width_px > 0),
          height_px integer not null check (height_px > 0),
          bytes integer not null check (bytes > 0),
          reference_blurred boolean not null default false,
          created_at timestamptz not null default now()
        )`.execute(db);
      await sql`
        create table measurements (
          id uuid primary key,
          owner_id uuid not null,
          photo_id uuid not null references photos (id) on delete cascade,
          options jsonb not null,
          state text not null check (state in ('queued', 'running', 'finished', 'failed', 'cancelled')),
          stages_done jsonb not null default '[]',
          queued_before integer not null default 0,
          result jsonb,
          problem jsonb,
          attempts integer not null default 0,
          created_at timestamptz not null default now(),
          finished_at timestamptz,
          check ((state = 'finished') = (result is not null)),
          check ((state = 'failed') = (problem is not null))
        )`.execute(db);
      await sql`create index measurements_photo on measurements (photo_id)`.execute(db);
      await sql`
        create index measurements_open on measurements (created_at)
        where state in ('queued', 'running')`.execute(db);
      await sql`
        create table pieces (
          id uuid primary key,
          owner_id uuid not null,
          revision integer not null default 1,
          name text not null,
          document jsonb not null,
          created_at timestamptz not null default now(),
          updated_at timestamptz not null default now(),
          deleted_at timestamptz
        )`.execute(db);
      await sql`create index pieces_owner on pieces (owner_id, updated_at desc)`.execute(db);
      await sql`
        create table checks (
          id uuid primary key,
          owner_id uuid not null,
          piece_id uuid not null references pieces (id) on delete cascade,
          document jsonb not null,
          created_at timestamptz not null default now(),
          deleted_at timestamptz
        )`.execute(db);
      await sql`create index checks_piece on checks (piece_id, created_at)`.execute(db);
      await sql`
        create table pairings (
          id uuid primary key,
          owner_id uuid not null,
          piece_id uuid,
          code_hash text unique,
          session_hash text unique,
          expires_at timestamptz not null
        )`.execute(db);
    },
  },
  '0002-pace-of-measuring': {
    async up(db: Kysely<never>): Promise<void> {
      await sql`create index measurements_finished on measurements (finished_at)`.execute(db);
    },
  },
  '0003-accounts': {
    /** The first four tables are the auth library's, in its shape; some columns stay empty here. */
    async up(db: Kysely<never>): Promise<void> {
      await sql`
        create table accounts (
          id uuid primary key default gen_random_uuid(),
          name text not null,
          username text unique,
          email text not null unique,
          email_verified boolean not null,
          image text,
          created_at timestamptz not null default now(),
          updated_at timestamptz not null default now()
        )`.execute(db);
      await sql`
        create table credentials (
          id uuid primary key default gen_random_uuid(),
          account_id uuid not null references accounts (id) on delete cascade,
          credential_of text not null,
          provider text not null,
          password text,
          access_token text,
          refresh_token text,
          id_token text,
          access_token_expires_at timestamptz,
          refresh_token_expires_at timestamptz,
          scope text,
          created_at timestamptz not null default now(),
          updated_at timestamptz not null
        )`.execute(db);
      await sql`create index credentials_account on credentials (account_id)`.execute(db);
      await sql`
        create table sessions (
          id uuid primary key default gen_random_uuid(),
          account_id uuid not null references accounts (id) on delete cascade,
          token text not null unique,
          expires_at timestamptz not null,
          ip_address text,
          user_agent text,
          created_at timestamptz not null default now(),
          updated_at timestamptz not null
        )`.execute(db);
      await sql`create index sessions_account on sessions (account_id)`.execute(db);
      await sql`
        create table verifications (
          id uuid primary key default gen_random_uuid(),
          identifier text not null,
          value text not null,
          expires_at timestamptz not null,
          created_at timestamptz not null default now(),
          updated_at timestamptz not null default now()
        )`.execute(db);
      await sql`create index verifications_identifier on verifications (identifier)`.execute(db);
      await sql`
        create table attempts (
          key_hash text primary key,
          hits integer not null,
          until timestamptz not null
        )`.execute(db);
      await sql`create index photos_owner on photos (owner_id)`.execute(db);
      await sql`create index measurements_owner on measurements (owner_id)`.execute(db);
      await sql`create index checks_owner on checks (owner_id)`.execute(db);
    },
  },
  '0004-one-time-passwords': {
    /** Until when a password is good for one sign-in, and which: a password that was changed since is not meant. */
    async up(db: Kysely<never>): Promise<void> {
      await sql`
        alter table credentials
          add column one_time_hash text,
          add column one_time_until timestamptz`.execute(db);
    },
  },
  '0005-copies-of-samples': {
    /** Each maker has one copy of a sample, however often she looks at it. */
    async up(db: Kysely<never>): Promise<void> {
      await sql`alter table photos add column sample text`.execute(db);
      await sql`create unique index photos_sample on photos (owner_id, sample)`.execute(db);
    },
  },
};
