import type { Selectable } from 'kysely';
import type { MeasurementJob } from '../api/schemas.ts';
import type { MeasurementsTable } from '../storage/tables.ts';

/** A job as the API shows it. */
export function jobFromRow(row: Selectable<MeasurementsTable>): MeasurementJob {
  return {
    id: row.id,
    photoId: row.photo_id,
    state: row.state,
    stagesDone: row.stages_done,
    queuedBefore: row.queued_before,
    options: row.options,
    measurement: row.result,
    problem: row.problem,
    createdAt: row.created_at.toISOString(),
    finishedAt: row.finished_at?.toISOString() ?? null,
  };
}
