/**
 * Stands in while the record cannot be written: a copy in memory of all but the tail. Changes, claims and attempts go
 * on here, so that reads see them and notices still go out; they are done again in the record when it can be written.
 */
import Database from 'better-sqlite3';
import { messageOf } from '../../base/errors.ts';
import type { Log } from '../../base/log.ts';
import { type Migration, migrate } from './migrate.ts';
import { type Tables, tablesOf } from './tables.ts';

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
] as const;

interface Given {
  readonly record: Database.Database;
  readonly migrations: readonly Migration[];
  readonly log: Log;
}

export function standInFor({ record, migrations, log }: Given): Tables {
  const database = new Database(':memory:');
  // A table that cannot be read any more must not keep the others out.
  database.pragma('foreign_keys = OFF');
  migrate(database, migrations);
  for (const table of copied) {
    try {
      copy(table, record, database);
    } catch (thrown) {
      log.error({ table, error: messageOf(thrown) }, 'a part of the record cannot be read');
    }
  }
  return tablesOf(database, log);
}

function copy(table: (typeof copied)[number], from: Database.Database, to: Database.Database) {
  const select = from.prepare<[], unknown[]>(`SELECT * FROM ${table}`).raw();
  const places = select.columns().map(() => '?');
  const insert = to.prepare(`INSERT INTO ${table} VALUES (${places.join(', ')})`);
  to.transaction(() => {
    for (const row of select.iterate()) insert.run(...row);
  })();
}
