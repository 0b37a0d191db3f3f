/** Which record it is: the id that was made with it, which it keeps when another file takes the place of a damaged one. */
import { existsSync } from 'node:fs';
import Database from 'better-sqlite3';
import { intact, knowRowChecksums } from './row-checksums.ts';

/** Null: it has none yet, or it cannot be read, or it is not as it was written. */
export function keptInstanceId(database: Database.Database): string | null {
  try {
    const select = `SELECT instance_id FROM about WHERE ${intact(database, 'about')}`;
    return database.prepare<[], string>(select).pluck().get() ?? null;
  } catch (thrown) {
    if (!(thrown instanceof Database.SqliteError)) throw thrown;
    return null;
  }
}

/** With the shape that it is in now: see `headerFault`. */
export function keepInstanceId(database: Database.Database, id: string): void {
  const shape = Number(database.pragma('user_version', { simple: true }));
  const kept = database
    .prepare<[string, number], number>(
      'SELECT count(*) FROM about WHERE instance_id = ? AND shape = ?',
    )
    .pluck()
    .get(id, shape);
  if (kept === 1) return;
  database
    .prepare('INSERT OR REPLACE INTO about (only_row, instance_id, shape) VALUES (1, ?, ?)')
    .run(id, shape);
}

/** Of the first of these files that tells one. */
export function instanceIdIn(paths: readonly string[]): string | null {
  for (const path of paths.filter((each) => existsSync(each))) {
    try {
      const database = new Database(path, { readonly: true, fileMustExist: true });
      knowRowChecksums(database);
      const id = keptInstanceId(database);
      database.close();
      if (id !== null) return id;
    } catch (thrown) {
      if (!(thrown instanceof Database.SqliteError)) throw thrown;
    }
  }
  return null;
}
