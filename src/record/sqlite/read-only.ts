/** The record for a command that only looks, while no daemon runs: nothing is locked, migrated or written. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { RollcallError } from '../../base/errors.ts';
import { silentLog } from '../../base/log.ts';
import type { Record } from '../record.ts';
import { troubleWith } from './failures.ts';
import { readMigrations } from './migrate.ts';
import { queriesOf } from './queries.ts';
import { runQueries } from './runs.ts';

/** What spans, outages, failures and runs tell; observations are not among it. */
export interface ReadOnlyRecord
  extends Pick<Record, 'spans' | 'outages' | 'unconfirmed' | 'planned' | 'runs' | 'lastPulse'> {
  close(): void;
}

/** Null: there is none in this folder. Throws `data-folder-unusable`, or `record-newer`. */
export function readRecord(folder: string): ReadOnlyRecord | null {
  const path = join(folder, 'rollcall.db');
  if (!existsSync(path)) return null;
  let database: Database.Database | null = null;
  try {
    database = new Database(path, { readonly: true, fileMustExist: true });
    checkShape(database);
    return readerOn(database);
  } catch (thrown) {
    database?.close();
    if (thrown instanceof RollcallError) throw thrown;
    const trouble = troubleWith(thrown) ?? String(thrown);
    throw new RollcallError(
      'data-folder-unusable',
      `The record in ${folder} cannot be read: ${trouble}.`,
      { cause: thrown },
    );
  }
}

function readerOn(database: Database.Database): ReadOnlyRecord {
  const find = database.prepare<[string], { key: number }>('SELECT key FROM services WHERE id = ?');
  const keys = { known: (serviceId: string) => find.get(serviceId)?.key ?? null };
  const queries = queriesOf(database, keys, silentLog);
  const { runs } = runQueries(database);
  return {
    spans: async (serviceId, range) => queries.spans(serviceId, range),
    outages: async (serviceId, range, countMax = Number.POSITIVE_INFINITY) =>
      queries.outages(serviceId, range, countMax),
    unconfirmed: async (serviceId, range) => queries.unconfirmed(serviceId, range),
    planned: async (range) => queries.planned(range),
    runs: async (jobId, range, countMax) => runs(jobId, range, countMax),
    lastPulse: async () => queries.pulse(),
    close: () => void database.close(),
  };
}

/** Only the shape that this version writes is read; a daemon brings an older one to it. Throws a RollcallError. */
export function checkShape(database: Database.Database): void {
  const newest = readMigrations().at(-1)?.version ?? 0;
  const version = Number(database.pragma('user_version', { simple: true }));
  if (version === newest) return;
  if (version > newest) {
    throw new RollcallError(
      'record-newer',
      `The record was written by a later version of Rollcall (shape ${version}; this version knows up to ${newest}).`,
    );
  }
  throw new RollcallError(
    'data-folder-unusable',
    `The record was written by an earlier version of Rollcall (shape ${version}; this one reads ${newest}). A daemon of this version brings it up to date when it starts.`,
  );
}
