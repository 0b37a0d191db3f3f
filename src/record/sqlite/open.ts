/** Opens the record in a data folder: the folder, the lock, the database in its newest shape, the engine on it. */
import { join } from 'node:path';
import Database from 'better-sqlite3';
import type { Clock } from '../../base/clock.ts';
import { RollcallError } from '../../base/errors.ts';
import type { Log } from '../../base/log.ts';
import type { Pulse, Record } from '../record.ts';
import { recordOn } from './engine.ts';
import { troubleWith } from './failures.ts';
import { ensureFile, ensureFolder } from './files.ts';
import { lockFolder } from './lock.ts';
import { type Migration, migrate, readMigrations } from './migrate.ts';

export interface OpenGiven {
  /** The data folder; made where there is none. */
  readonly folder: string;
  readonly clock: Clock;
  readonly log: Log;
  /** A new UUID; asked once in the life of a record. */
  readonly newId: () => string;
  /** The sign of life to be left with what is written at this moment. */
  readonly pulse: () => Pulse;
  /** Where housework is done that takes long: `inline` under a simulated clock, else in a thread of its own. */
  readonly upkeep?: 'thread' | 'inline';
}

/** How long a write waits for another program that holds the file. The house stands still meanwhile. */
const busyMs = 1_000;
/** What the log beside the database is cut back to after a rush. */
const logBytesMax = 16 * 1_048_576;

/**
 * Throws `data-folder-busy`, `data-folder-unusable` or `record-newer`. Held until `close`: a second daemon cannot
 * open the same folder.
 */
export async function openRecord(given: OpenGiven): Promise<Record> {
  const { folder, clock, log, pulse } = given;
  ensureFolder(folder);
  const lock = lockFolder(folder);
  try {
    const migrations = readMigrations();
    const database = opened(join(folder, 'rollcall.db'), migrations);
    const instanceId = instanceIdOf(database, given.newId);
    const closed = () => lock.release();
    const upkeep = given.upkeep ?? 'thread';
    return recordOn({ database, migrations, instanceId, clock, log, pulse, upkeep, closed });
  } catch (thrown) {
    lock.release();
    const trouble = troubleWith(thrown);
    if (trouble === null) throw thrown;
    throw new RollcallError(
      'data-folder-unusable',
      `The record in ${folder} cannot be opened: ${trouble}.`,
      { cause: thrown },
    );
  }
}

function opened(path: string, migrations: readonly Migration[]): Database.Database {
  ensureFile(path);
  const database = new Database(path, { timeout: busyMs });
  try {
    configure(database);
    migrate(database, migrations);
    return database;
  } catch (thrown) {
    database.close();
    throw thrown;
  }
}

/** A connection as the engine wants it: a log ahead of the file, and durable when a commit returns. */
export function configure(database: Database.Database): void {
  const mode = database.pragma('journal_mode = WAL', { simple: true });
  if (mode !== 'wal') {
    throw new RollcallError(
      'data-folder-unusable',
      `The file system of ${database.name} cannot keep a record: it shares no memory between processes. Use a local disk.`,
    );
  }
  database.pragma('synchronous = FULL');
  database.pragma('foreign_keys = ON');
  database.pragma(`journal_size_limit = ${logBytesMax}`);
}

function instanceIdOf(database: Database.Database, newId: () => string): string {
  const kept = database.prepare<[], { id: string }>('SELECT instance_id AS id FROM about').get();
  if (kept) return kept.id;
  const id = newId();
  database.prepare('INSERT INTO about (only_row, instance_id) VALUES (1, ?)').run(id);
  return id;
}
