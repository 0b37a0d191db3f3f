/** Looks through the whole file for what is not as it was written. */
import type { Database } from 'better-sqlite3';

export function* verify(database: Database): Generator<never, { faults: readonly string[] }, void> {
  const found = database.pragma('integrity_check') as { integrity_check: string }[];
  return { faults: found.map((row) => row.integrity_check).filter((text) => text !== 'ok') };
}
