/**
 * What is looked at before the daemon begins: little enough to be no delay in years, and what it stands on at once. The
 * rest is left to `verify`.
 */
import type { Database } from 'better-sqlite3';
import { counted } from '../../base/words.ts';
import { checkedTables } from './row-checksums.ts';
import { differencesOfShape } from './shape.ts';
import { spoiltCount } from './verify.ts';

/** Rows looked at in one table. */
const rowsCountMax = 20_000;

/** A sentence; null: nothing was found. Throws what the engine throws. */
export function quickFault(database: Database): string | null {
  const difference = differencesOfShape(database);
  if (difference !== null) return `Its tables are not those of a record: ${difference}.`;
  for (const table of checkedTables) {
    const spoilt = spoiltCount(database, table, rowsCountMax);
    if (spoilt > 0) return `${counted(spoilt, 'row')} of the table ${table} changed since written.`;
  }
  return null;
}
