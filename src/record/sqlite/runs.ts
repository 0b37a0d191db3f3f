/** Runs of jobs: how they are written, and read. */
import type { Database } from 'better-sqlite3';
import { type JobRun, runAt } from '../../base/jobs.ts';
import { tailsKeptCountMax } from '../../base/limits.ts';
import type { Range } from '../record.ts';
import { limitOf } from './counts.ts';

/** Puts a run in place of what was known of it. Within a transaction. */
export function runKeeper(database: Database): (run: JobRun) => void {
  const put = database.prepare(
    `INSERT INTO runs (job_id, id, at_ms, began_ms, ended_ms, exit, size_bytes, value, unit, tail)
     VALUES (:jobId, :id, :at, :beganAt, :endedAt, :exit, :sizeBytes, :value, :unit, :tail)
     ON CONFLICT (job_id, id) DO UPDATE SET at_ms = excluded.at_ms, began_ms = excluded.began_ms,
       ended_ms = excluded.ended_ms, exit = excluded.exit, size_bytes = excluded.size_bytes,
       value = excluded.value, unit = excluded.unit, tail = excluded.tail`,
  );
  // In pages of a few at a time as they come: one more run, one output less.
  const forget = database.prepare<[{ jobId: string; keptCount: number }]>(
    `UPDATE runs SET tail = NULL WHERE key IN (
       SELECT key FROM runs WHERE job_id = :jobId AND tail IS NOT NULL
       ORDER BY at_ms DESC LIMIT -1 OFFSET :keptCount)`,
  );
  return (run) => {
    put.run({ ...run, at: runAt(run) });
    if (run.tail !== null) forget.run({ jobId: run.jobId, keptCount: tailsKeptCountMax });
  };
}

export interface RunQueries {
  runs(jobId: string, range: Range, countMax: number): readonly JobRun[];
  run(jobId: string, id: string): JobRun | null;
}

const columns = `job_id AS jobId, id, began_ms AS beganAt, ended_ms AS endedAt, exit,
  size_bytes AS sizeBytes, value, unit, tail`;

export function runQueries(database: Database): RunQueries {
  const inRange = database.prepare<[string, number, number, number], JobRun>(
    `SELECT ${columns} FROM runs WHERE job_id = ? AND at_ms >= ? AND at_ms < ?
     ORDER BY at_ms DESC, key DESC LIMIT ?`,
  );
  const one = database.prepare<[string, string], JobRun>(
    `SELECT ${columns} FROM runs WHERE job_id = ? AND id = ?`,
  );
  return {
    runs: (jobId, { from, to }, countMax) => inRange.all(jobId, from, to, limitOf(countMax)),
    run: (jobId, id) => one.get(jobId, id) ?? null,
  };
}
