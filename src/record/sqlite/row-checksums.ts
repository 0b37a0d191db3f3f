/**
 * A checksum in every row. SQLite finds damage in the structure of its file and between a table and its indexes, but a
 * byte that changed inside a value reads as another value. Triggers keep the checksums, so no statement can forget them;
 * only the tail, whose rows are many and never change, is given them with the row. Blocks have their own.
 */
import { crc32 } from 'node:zlib';
import type { Database } from 'better-sqlite3';

/** Of all columns but the checksum itself, in the order of the table. A 32-bit integer with its sign: it takes 4 bytes. */
export function rowChecksum(values: readonly unknown[]): number {
  return crc32(JSON.stringify(values)) | 0;
}

/** What the triggers call. A connection without it can read and delete, and writes nothing that would count as damage. */
export function knowRowChecksums(database: Database): void {
  database.function(
    'row_crc',
    { varargs: true, deterministic: true },
    (...values: readonly unknown[]) => rowChecksum(values),
  );
}

/** Tables whose rows have a checksum of this kind. */
export const checkedTables = [
  'about',
  'services',
  'pulse',
  'memories',
  'spans',
  'outages',
  'unconfirmed',
  'disturbances',
  'kept',
  'facts',
  'notices',
  'deliveries',
  'attempts',
  'notes',
  'planned',
  'known',
  'runs',
  'moved',
  'tail',
] as const;
export type CheckedTable = (typeof checkedTables)[number];

/** An expression of SQL: whether a row is as it was written. One from before there were checksums is taken as it is. */
export function intact(database: Database, table: CheckedTable): string {
  const names = columnsOf(database, table).filter((name) => name !== 'crc');
  return `(crc IS NULL OR crc = row_crc(${names.join(', ')}))`;
}

export function columnsOf(database: Database, table: string): readonly string[] {
  const columns = database.pragma(`table_info(${table})`) as readonly { readonly name: string }[];
  return columns.map(({ name }) => name);
}
