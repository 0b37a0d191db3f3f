/** Whether the tables of a file are those that the migrations make. What somebody added beside them does no harm. */
import Database from 'better-sqlite3';
import { migrate, readMigrations } from './migrate.ts';

interface Part {
  readonly name: string;
  readonly sql: string | null;
}

/** Null: they are, in the newest shape, and the header says so. Else the first difference. */
export function differencesOfShape(database: Database.Database): string | null {
  const wrong = headerFault(database);
  if (wrong !== null) return wrong;
  const model = new Database(':memory:');
  try {
    migrate(model, readMigrations());
    return difference(partsOf(database), partsOf(model));
  } finally {
    model.close();
  }
}

function partsOf(database: Database.Database): ReadonlyMap<string, string> {
  const parts = database
    .prepare<[], Part>(
      `SELECT type || ' ' || name || ' on ' || tbl_name AS name, sql FROM sqlite_schema`,
    )
    .all();
  return new Map(parts.map(({ name, sql }) => [name, sql ?? '']));
}

function difference(
  found: ReadonlyMap<string, string>,
  expected: ReadonlyMap<string, string>,
): string | null {
  for (const [name, sql] of expected) {
    if (!found.has(name)) return `the ${name} is missing`;
    if (found.get(name) !== sql) return `the ${name} is another`;
  }
  return null;
}

/**
 * The header names the shape of the tables; the record keeps it as well. Where they differ the header is damaged, and
 * nothing may be migrated by what it says. Null: they agree, or the record is from before that was kept.
 */
export function headerFault(database: Database.Database): string | null {
  const kept = database
    .prepare<[], number>(`SELECT count(*) FROM pragma_table_info('about') WHERE name = 'shape'`)
    .pluck()
    .get();
  if (kept !== 1) return null;
  const shape = database.prepare<[], number | null>('SELECT shape FROM about').pluck().get();
  const version = Number(database.pragma('user_version', { simple: true }));
  return shape == null || shape === version
    ? null
    : `the header says shape ${version}, and the record ${shape}`;
}
