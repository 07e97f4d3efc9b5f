import type { ColumnType, JSONColumnType } from 'kysely';
import type { Measurement, MeasureOptions, Stage } from '../../vision/measurement.ts';
import type { Problem } from '../api/schemas.ts';

/** JSON is written as text and cast in the query, because the two drivers disagree about arrays. */
type Json<T> = JSONColumnType<T & object, string, string>;
type NullableJson<T> = ColumnType<T | null, string | null, string | null>;
type Instant = ColumnType<Date, Date | undefined, Date>;
type NullableInstant = ColumnType<Date | null, Date | null | undefined, Date | null>;

export interface PhotosTable {
  id: string;
  owner_id: string;
  /** Key in the photo store; changes when the kept picture is replaced. */
  blob_key: string;
  width_px: number;
  height_px: number;
  bytes: number;
  reference_blurred: boolean;
  /** Name of the sample it is a copy of. */
  sample: string | null;
  created_at: Instant;
}

export type JobState = 'queued' | 'running' | 'finished' | 'failed' | 'cancelled';

export interface MeasurementsTable {
  id: string;
  owner_id: string;
  photo_id: string;
  options: Json<MeasureOptions>;
  state: JobState;
  stages_done: Json<Stage[]>;
  queued_before: number;
  result: NullableJson<Measurement>;
  problem: NullableJson<Problem>;
  /** How often a worker took it up; more than one means that a worker died. */
  attempts: number;
  created_at: Instant;
  finished_at: NullableInstant;
}

/** What of a piece only its reader understands; see `pieceSchema`. */
export interface PieceDocument {
  units: 'cm' | 'in';
  terms: 'us' | 'uk';
  note: string;
  swatches: import('../api/schemas.ts').Swatch[];
  plan: Record<string, unknown> | null;
  view: Record<string, unknown>;
}

export interface PiecesTable {
  id: string;
  owner_id: string;
  revision: number;
  name: string;
  document: Json<PieceDocument>;
  created_at: Instant;
  updated_at: Instant;
  deleted_at: NullableInstant;
}

export interface CheckDocument {
  photoIds: string[];
  measurementIds: string[];
  rowsDone: number | null;
  gramsLeft: Record<string, number>;
  result: Record<string, unknown>;
  note: string;
}

export interface ChecksTable {
  id: string;
  owner_id: string;
  piece_id: string;
  document: Json<CheckDocument>;
  created_at: Instant;
  deleted_at: NullableInstant;
}

/** One-time codes and the phones that redeemed them; only hashes are kept. */
export interface PairingsTable {
  id: string;
  owner_id: string;
  piece_id: string | null;
  code_hash: string | null;
  session_hash: string | null;
  expires_at: Instant;
}

/** Makers of a hosted server. What the auth library keeps besides is listed in the migration. */
export interface AccountsTable {
  id: string;
  username: string;
}

/** How an account is entered; the auth library's, but for the one-time columns. */
export interface CredentialsTable {
  account_id: string;
  /** `credential` for a password. */
  provider: string;
  password: string | null;
  /** The password's hash when it was set by the operator, good for one sign-in. */
  one_time_hash: string | null;
  /** In the past once it was used. */
  one_time_until: NullableInstant;
  updated_at: Instant;
}

export interface SessionsTable {
  account_id: string;
  token: string;
}

/** How often something was tried lately, by the hash of what it was. */
export interface AttemptsTable {
  key_hash: string;
  hits: number;
  until: Instant;
}

export interface Tables {
  photos: PhotosTable;
  measurements: MeasurementsTable;
  pieces: PiecesTable;
  checks: ChecksTable;
  pairings: PairingsTable;
  accounts: AccountsTable;
  credentials: CredentialsTable;
  sessions: SessionsTable;
  attempts: AttemptsTable;
}
