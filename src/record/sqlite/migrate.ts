/** Brings a database to the shape that this version knows: numbered files, each applied once, in a transaction of its own. */
import { readdirSync, readFileSync } from 'node:fs';
import type { Database } from 'better-sqlite3';
import { RollcallError } from '../../base/errors.ts';
import { recordFile } from '../../base/files.ts';
import { knowRowChecksums } from './row-checksums.ts';

export interface Migration {
  /** The file's number; `user_version` of a database that has it. */
  readonly version: number;
  readonly sql: string;
}

/** `0001-….sql`, `0002-….sql` … in order; by default the program's own. Throws where a number is missing. */
export function readMigrations(folder: URL = recordFile('migrations/')): readonly Migration[] {
  const names = readdirSync(folder).filter((name) => /^\d{4}-[a-z0-9-]+\.sql$/.test(name));
  return names.sort().map((name, place) => {
    const version = Number(name.slice(0, 4));
    if (version !== place + 1) throw new Error(`Migration ${place + 1} is missing before ${name}.`);
    return { version, sql: readFileSync(new URL(name, folder), 'utf8') };
  });
}

/** Throws `record-newer` when the database has a shape that this version does not know. Returns how many were applied. */
export function migrate(database: Database, migrations: readonly Migration[]): number {
  knowRowChecksums(database);
  const newest = migrations.at(-1)?.version ?? 0;
  const version = Number(database.pragma('user_version', { simple: true }));
  if (version > newest) {
    throw new RollcallError(
      'record-newer',
      `The record was written by a later version of Rollcall (shape ${version}; this version knows up to ${newest}). Start that version, or use another data folder.`,
    );
  }
  const missing = migrations.filter((migration) => migration.version > version);
  for (const { version: next, sql } of missing) {
    database
      .transaction(() => {
        database.exec(sql);
        database.pragma(`user_version = ${next}`);
      })
      .immediate();
  }
  return missing.length;
}
