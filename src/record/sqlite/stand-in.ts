/**
 * Stands in while the record cannot be written: a copy in memory of all but the observations. Changes, claims and attempts
 * go on here, so that reads see them and notices still go out; they are done again in the record when it can be written.
 */
import Database from 'better-sqlite3';
import type { Log } from '../../base/log.ts';
import { type Migration, migrate } from './migrate.ts';
import { readable } from './readable.ts';
import { type Store, storeOn } from './store.ts';

/** In an order in which what is referred to comes first. */
const copied = [
  'services',
  'pulse',
  'memories',
  'spans',
  'outages',
  'unconfirmed',
  'disturbances',
  'kept',
  'notices',
  'deliveries',
  'attempts',
  'notes',
  'planned',
  'known',
  'runs',
] as const;

interface Given {
  /** Null: nothing of it can be read. */
  readonly record: Database.Database | null;
  readonly migrations: readonly Migration[];
  readonly log: Log;
}

export function standInFor({ record, migrations, log }: Given): Store {
  const database = new Database(':memory:');
  // A table that cannot be read any more must not keep the others out.
  database.pragma('foreign_keys = OFF');
  migrate(database, migrations);
  if (record) copyAll(record, database, log);
  return storeOn(database, log);
}

function copyAll(from: Database.Database, to: Database.Database, log: Log): void {
  for (const table of copied) {
    const { rows, whole } = readable(from, table);
    copy(table, rows, to);
    if (!whole()) log.error({ table }, 'a part of the record cannot be read');
  }
}

function copy(
  table: (typeof copied)[number],
  rows: Iterable<readonly unknown[]>,
  to: Database.Database,
): void {
  const columns = to.prepare(`SELECT * FROM ${table}`).columns();
  const insert = to.prepare(`INSERT INTO ${table} VALUES (${columns.map(() => '?').join(', ')})`);
  to.transaction(() => {
    for (const row of rows) insert.run(...row);
  })();
}
