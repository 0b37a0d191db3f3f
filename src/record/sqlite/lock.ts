/**
 * One daemon a data folder: an exclusive transaction on `lock.db` that is never ended while the daemon lives.
 * The kernel gives the lock back when the process is gone, however it went; a pid file would lie then.
 */
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { RollcallError } from '../../base/errors.ts';
import { troubleWith } from './failures.ts';
import { ensureFile } from './files.ts';
import { identityOf } from './set-aside.ts';

export interface Lock {
  /** Where the file was removed, and the folder with it perhaps: holds it anew. Throws as `lockFolder` does. */
  renew(): void;
  release(): void;
}

/** Throws `data-folder-busy` when another daemon holds the folder. */
export function lockFolder(folder: string): Lock {
  const path = join(folder, 'lock.db');
  let held = hold(folder, path);
  let identity = identityOf(path);
  return {
    renew: () => {
      if (identityOf(path) === identity) return;
      const before = held;
      held = hold(folder, path);
      identity = identityOf(path);
      before.close();
    },
    release: () => void held.close(),
  };
}

function hold(folder: string, path: string): Database.Database {
  ensureFile(path);
  const database = new Database(path, { timeout: 0 });
  try {
    // No journal beside it: nothing is ever written, and a full disk must not stand in the way.
    database.pragma('journal_mode = MEMORY');
    database.exec('BEGIN EXCLUSIVE');
    return database;
  } catch (thrown) {
    database.close();
    if (thrown instanceof Database.SqliteError && thrown.code.startsWith('SQLITE_BUSY')) {
      throw new RollcallError(
        'data-folder-busy',
        `Another Rollcall daemon uses the data folder ${folder}. Stop that one, or give this one a folder of its own with --data.`,
        { cause: thrown },
      );
    }
    throw new RollcallError(
      'data-folder-unusable',
      `The data folder ${folder} cannot be locked: ${troubleWith(thrown) ?? String(thrown)}.`,
      { cause: thrown },
    );
  }
}
