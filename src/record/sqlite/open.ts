/** Opens the record in a data folder: the folder, the lock, the database in its newest shape, the engine on it. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import type { Clock } from '../../base/clock.ts';
import { RollcallError } from '../../base/errors.ts';
import type { Log } from '../../base/log.ts';
import type { Pulse, Record } from '../record.ts';
import { recordOn } from './engine.ts';
import { isDamage, isPassing, troubleWith } from './failures.ts';
import { ensureFile, ensureFolder } from './files.ts';
import { instanceIdIn, keepInstanceId, keptInstanceId } from './instance.ts';
import type { Errand } from './keeper.ts';
import { lockFolder } from './lock.ts';
import { logFault } from './log-check.ts';
import { type Migration, migrate, readMigrations } from './migrate.ts';
import { quickFault } from './quick-check.ts';
import { knowRowChecksums } from './row-checksums.ts';
import { headerFault } from './shape.ts';
import { standInFor } from './stand-in.ts';
import type { Store } from './store.ts';
import { pageBytes, pageCacheKib } from './volumes.ts';
import type { Moored } from './writer.ts';

export interface OpenGiven {
  /** The data folder; made where there is none. */
  readonly folder: string;
  readonly clock: Clock;
  readonly log: Log;
  /** A new UUID; asked once in the life of a record. */
  readonly newId: () => string;
  /** The sign of life to be left with what is written at this moment. */
  readonly pulse: () => Pulse;
  /** Where the long work is done: in a process of its own (the default), or, under a simulated clock, where it is called. */
  readonly upkeep?: 'beside' | 'inline';
  /** Paths of backups, the newest first: what takes the place of a damaged file. Asked when it is needed. */
  readonly backups?: () => readonly string[];
}

/** How long a write waits for another program that holds the file. The house stands still meanwhile. */
const busyMs = 1_000;
/** What the log beside the database is cut back to after a rush. */
const logBytesMax = 16 * 1_048_576;

/**
 * Throws `data-folder-busy`, `data-folder-unusable` or `record-newer`. Held until `close`: a second daemon cannot
 * open the same folder. A damaged file, and a disk that is full or fails, are no reason not to begin: see `health`.
 */
export async function openRecord(given: OpenGiven): Promise<Record> {
  const { folder, newId, upkeep = 'beside', backups = () => [] } = given;
  ensureFolder(folder);
  const lock = lockFolder(folder);
  try {
    const migrations = readMigrations();
    const path = join(folder, 'rollcall.db');
    const found = look(path, { migrations, backups, log: given.log });
    const instanceId = found.instanceId ?? newId();
    if ('database' in found.file) keepInstanceId(found.file.database, instanceId);
    return recordOn({
      ...given,
      ...found,
      path,
      migrations,
      instanceId,
      upkeep,
      backups,
      open: () => opened(path, migrations, instanceId),
      relock: lock.renew,
      closed: lock.release,
    });
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

interface Found {
  readonly file: Moored;
  /** Null: none is known. */
  readonly instanceId: string | null;
  readonly first: Errand | null;
}

interface LookGiven {
  readonly migrations: readonly Migration[];
  readonly backups: () => readonly string[];
  readonly log: Log;
}

/** A file that is sound at first sight, or what can be known without one: from what is left of it, else from a backup. */
function look(path: string, given: LookGiven): Found {
  ensureFile(path);
  const fault = logFault(path);
  // Read-only, SQLite leaves a damaged log as it is.
  const database = new Database(path, { timeout: busyMs, readonly: fault !== null });
  const errand: Errand | null =
    fault === null ? errandOn(database, given.migrations) : { kind: 'replace', found: fault };
  knowRowChecksums(database);
  const own = keptInstanceId(database);
  if (errand === null) return { file: { database }, instanceId: own, first: null };
  const instanceId = own ?? instanceIdIn(given.backups());
  const trouble =
    errand.kind === 'reopen' ? errand.trouble : 'its file is damaged, and being replaced';
  const standIn = standInFor({ record: database, ...given });
  database.close();
  if (knowsAnything(standIn)) return { file: { standIn, trouble }, instanceId, first: errand };
  standIn.database.close();
  return { file: { standIn: standInFromBackup(given), trouble }, instanceId, first: errand };
}

function knowsAnything({ database }: Store): boolean {
  return database.prepare('SELECT count(*) FROM memories').pluck().get() !== 0;
}

function standInFromBackup({ backups, ...given }: LookGiven): Store {
  for (const path of backups()) {
    const backup = readableBackup(path);
    if (!backup) continue;
    const standIn = standInFor({ record: backup, ...given });
    backup.close();
    if (knowsAnything(standIn)) return standIn;
    standIn.database.close();
  }
  return standInFor({ record: null, ...given });
}

function readableBackup(path: string): Database.Database | null {
  if (!existsSync(path)) return null;
  try {
    const backup = new Database(path, { readonly: true, fileMustExist: true });
    knowRowChecksums(backup);
    return backup;
  } catch (thrown) {
    if (troubleWith(thrown) === null) throw thrown;
    return null;
  }
}

/** Null: none, the file is sound. Throws, and closes the connection, where nothing can be done about it. */
function errandOn(database: Database.Database, migrations: readonly Migration[]): Errand | null {
  try {
    configure(database);
    const header = headerFault(database);
    const fault = header === null ? migratedFault(database, migrations) : `In its file ${header}.`;
    return fault === null ? null : { kind: 'replace', found: fault };
  } catch (thrown) {
    const errand = errandAfter(thrown, troubleWith(thrown) ?? '');
    if (!errand) database.close();
    if (!errand) throw thrown;
    return errand;
  }
}

function errandAfter(thrown: unknown, trouble: string): Errand | null {
  if (isDamage(thrown)) return { kind: 'replace', found: `SQLite says: ${trouble}.` };
  return isPassing(thrown) ? { kind: 'reopen', trouble } : null;
}

function migratedFault(
  database: Database.Database,
  migrations: readonly Migration[],
): string | null {
  migrate(database, migrations);
  return quickFault(database);
}

function opened(
  path: string,
  migrations: readonly Migration[],
  instanceId: string,
): Database.Database {
  const database = connected(path);
  try {
    migrate(database, migrations);
    keepInstanceId(database, instanceId);
    return database;
  } catch (thrown) {
    database.close();
    throw thrown;
  }
}

function connected(path: string): Database.Database {
  ensureFile(path);
  const database = new Database(path, { timeout: busyMs });
  try {
    configure(database);
    return database;
  } catch (thrown) {
    database.close();
    throw thrown;
  }
}

/** A connection as the engine wants it: a log ahead of the file, and durable when a commit returns. */
export function configure(database: Database.Database): void {
  database.pragma(`page_size = ${pageBytes}`);
  const mode = database.pragma('journal_mode = WAL', { simple: true });
  if (mode !== 'wal') {
    throw new RollcallError(
      'data-folder-unusable',
      `The file system of ${database.name} cannot keep a record: it shares no memory between processes. Use a local disk.`,
    );
  }
  database.pragma('synchronous = FULL');
  database.pragma(`cache_size = -${pageCacheKib}`);
  database.pragma('foreign_keys = ON');
  database.pragma(`journal_size_limit = ${logBytesMax}`);
}
