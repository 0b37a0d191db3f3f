/**
 * Makes a sound file of a damaged one: the newest good backup, or a new record, and in it everything of the damaged file
 * that can be read and is as it was written. Works on files only; nobody else has the new one open yet.
 */
import { closeSync, copyFileSync, fsyncSync, openSync } from 'node:fs';
import Database from 'better-sqlite3';
import { messageOf } from '../../base/errors.ts';
import { troubleWith } from './failures.ts';
import { keepInstanceId } from './instance.ts';
import { migrate, readMigrations } from './migrate.ts';
import { salvageObservations } from './salvage-blocks.ts';
import { salvageRows } from './salvage-rows.ts';
import { removeDatabase } from './set-aside.ts';
import { verify } from './verify.ts';
import { pageBytes } from './volumes.ts';

export interface RecoverGiven {
  /** Where the new file is to lie. What lies there is removed. */
  readonly target: string;
  /** The newest first. */
  readonly backups: readonly string[];
  /** The record's; a backup of another one does not count. */
  readonly instanceId: string;
}

export interface Recovered {
  /** The backup that it was made of; null: none was good. */
  readonly backup: { readonly path: string; readonly pulseAt: number | null } | null;
  /** Why other backups were not taken, for the log. */
  readonly refused: readonly string[];
  /** Whether all of the damaged file was readable and as it was written. */
  readonly whole: boolean;
}

// biome-ignore lint/correctness/useYield: It makes no batches on the way to its result.
export function* recover(
  damaged: Database.Database,
  given: RecoverGiven,
): Generator<never, Recovered, void> {
  try {
    return recovered(damaged, given);
  } catch (thrown) {
    removeDatabase(given.target);
    throw thrown;
  }
}

function recovered(damaged: Database.Database, given: RecoverGiven): Recovered {
  const { target, instanceId } = given;
  const { backup, refused } = restored(given);
  const database = opened(target);
  try {
    // A file that is given up when it does not become whole: nothing of it must last meanwhile.
    database.pragma('journal_mode = MEMORY');
    database.pragma('synchronous = OFF');
    database.pragma('foreign_keys = OFF');
    const rows = salvageRows(damaged, database);
    const days = salvageObservations(damaged, database);
    keepInstanceId(database, instanceId);
    const [fault] = faultsOf(database);
    if (fault !== undefined) throw new Error(`What was brought over is not sound. ${fault}`);
    return { backup, refused, whole: rows.length === 0 && days.length === 0 };
  } finally {
    database.close();
    flushToDisk(target);
  }
}

/** Puts the newest good backup in the place of the new file. */
function restored({ target, backups, instanceId }: RecoverGiven) {
  const refused: string[] = [];
  for (const path of backups) {
    removeDatabase(target);
    try {
      copyFileSync(path, target);
      const { fault, pulseAt } = looked(target, instanceId);
      if (fault === null) return { backup: { path, pulseAt }, refused };
      refused.push(`${path}: ${fault}`);
    } catch (thrown) {
      refused.push(`${path}: ${troubleWith(thrown) ?? messageOf(thrown)}`);
    }
  }
  removeDatabase(target);
  return { backup: null, refused };
}

function looked(path: string, instanceId: string) {
  const database = opened(path);
  try {
    const pulseAt = database.prepare<[], number>('SELECT wall_ms FROM pulse').pluck().get() ?? null;
    const owner = database.prepare<[], string>('SELECT instance_id FROM about').pluck().get();
    const fault =
      owner === instanceId ? faultsOf(database)[0] : 'It is a backup of another record.';
    return { fault: fault ?? null, pulseAt };
  } finally {
    database.close();
  }
}

/** In the newest shape. */
function opened(path: string): Database.Database {
  const database = new Database(path);
  try {
    database.pragma(`page_size = ${pageBytes}`);
    migrate(database, readMigrations());
    return database;
  } catch (thrown) {
    database.close();
    throw thrown;
  }
}

function faultsOf(database: Database.Database): readonly string[] {
  const checking = verify(database);
  const end = checking.next();
  return end.done ? end.value.faults : [];
}

function flushToDisk(path: string): void {
  const file = openSync(path, 'r+');
  try {
    fsyncSync(file);
  } finally {
    closeSync(file);
  }
}
