/** Whether the tables of a file are those that the migrations make. What somebody added beside them does no harm. */
import Database from 'better-sqlite3';
import { migrate, readMigrations } from './migrate.ts';

interface Part {
  readonly name: string;
  readonly sql: string | null;
}

/** Null: they are, in the newest shape. Else the first difference. */
export function differencesOfShape(database: Database.Database): string | null {
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
