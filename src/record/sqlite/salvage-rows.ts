/**
 * Brings the rows of a damaged file over into another one, which is new or an older state of the same record. Where all of
 * a table could be read it takes the place of what was there; where not, it is joined with it, and the newer row counts.
 */
import Database from 'better-sqlite3';
import { readable } from './readable.ts';
import { type CheckedTable, columnsOf } from './row-checksums.ts';

/** In an order in which what is referred to comes first. Tail and blocks are another matter: see salvage-blocks.ts. */
const tables = [
  'services',
  'facts',
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
] as const satisfies readonly CheckedTable[];

/** Gives the tables of which a part was not readable. */
export function salvageRows(from: Database.Database, to: Database.Database): CheckedTable[] {
  const broken = tables.filter((table) => !salvage(from, to, table));
  salvageServiceIds(from, to);
  dropStrays(to);
  return broken;
}

/** Whether all of it was readable. */
function salvage(from: Database.Database, to: Database.Database, table: CheckedTable): boolean {
  const reading = readable(from, table);
  // Read once to know whether it is whole: only then may what is not in it go.
  for (const _ of reading.rows);
  const whole = reading.whole();
  to.transaction(() => {
    if (whole) to.exec(`DELETE FROM ${table}`);
    put(to, table, readable(from, table).rows);
  })();
  return whole;
}

/** In place of rows with the same key. */
export function put(
  to: Database.Database,
  table: CheckedTable,
  rows: Iterable<readonly unknown[]>,
): void {
  const places = columnsOf(to, table).map(() => '?');
  const insert = to.prepare(`INSERT OR REPLACE INTO ${table} VALUES (${places.join(', ')})`);
  for (const row of rows) insert.run(...row);
}

/** The name of a service stands in the index as well: without it, all that is known of the service would be nobody's. */
function salvageServiceIds(from: Database.Database, to: Database.Database): void {
  const add = to.prepare<[number, string]>(
    'INSERT OR IGNORE INTO services (key, id) VALUES (?, ?)',
  );
  for (const { key, id } of indexedServices(from)) add.run(key, id);
}

function indexedServices(database: Database.Database) {
  const select = 'SELECT key, id FROM services INDEXED BY sqlite_autoindex_services_1 ORDER BY id';
  try {
    return database.prepare<[], { readonly key: number; readonly id: string }>(select).all();
  } catch (thrown) {
    if (!(thrown instanceof Database.SqliteError)) throw thrown;
    return [];
  }
}

/** What belongs to something that could not be brought over. */
function dropStrays(to: Database.Database): void {
  const orphans = [
    ...['facts', 'memories', 'spans', 'outages', 'unconfirmed'].map(
      (table) => `${table} WHERE service NOT IN (SELECT key FROM services)`,
    ),
    'deliveries WHERE notice NOT IN (SELECT key FROM notices)',
    'attempts WHERE delivery NOT IN (SELECT key FROM deliveries)',
  ];
  for (const stray of orphans) to.exec(`DELETE FROM ${stray}`);
}
