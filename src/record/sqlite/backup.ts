/**
 * A copy of the record while it is in use (sqlite.org/backup.html): made under another name in the folder where it is to
 * lie, looked through as the record itself is, and only then given its name. So a file of that name is whole.
 */
import {
  chmodSync,
  closeSync,
  existsSync,
  fsyncSync,
  openSync,
  renameSync,
  statSync,
} from 'node:fs';
import { basename, dirname, join } from 'node:path';
import Database from 'better-sqlite3';
import { messageOf, RollcallError } from '../../base/errors.ts';
import { isDamage, troubleWith } from './failures.ts';
import { instanceIdIn } from './instance.ts';
import { knowRowChecksums } from './row-checksums.ts';
import { removeDatabase } from './set-aside.ts';
import { verify } from './verify.ts';

export interface BackupGiven {
  /** The path of the copy. An older backup of the same record that lies there is replaced. */
  readonly to: string;
  readonly instanceId: string;
}

/** Pages copied at one time: other work of the disk gets its turn in between. */
const stepPages = 512;

/** Throws `upkeep-failed` where the copy cannot be made, and what the engine throws where the record itself is damaged. */
export async function* backup(
  database: Database.Database,
  { to, instanceId }: BackupGiven,
): AsyncGenerator<never, { readonly sizeBytes: number }, void> {
  const part = join(dirname(to), `.${basename(to)}.part`);
  try {
    mustBeFolder(dirname(to));
    mustBeOurs(to, instanceId);
    removeDatabase(part);
    // A view that is held throughout: without it, each write to the record would have the copy begin anew.
    database.exec('BEGIN; SELECT count(*) FROM sqlite_schema;');
    await database.backup(part, { progress: () => stepPages });
    check(part, instanceId);
    chmodSync(part, 0o600);
    synced(part, 'r+');
    renameSync(part, to);
    synced(dirname(to), 'r');
    return { sizeBytes: statSync(to).size };
  } catch (thrown) {
    removeDatabase(part);
    if (isDamage(thrown) || thrown instanceof RollcallError) throw thrown;
    throw failed(to, troubleWith(thrown) ?? messageOf(thrown), thrown);
  }
}

function mustBeFolder(folder: string): void {
  if (statSync(folder, { throwIfNoEntry: false })?.isDirectory()) return;
  throw new RollcallError(
    'upkeep-failed',
    `The folder for the backup is not there: ${folder}. Make it, or mount its disk.`,
  );
}

/** Somebody may have mistyped a name; and two daemons may have been given one folder. */
function mustBeOurs(path: string, instanceId: string): void {
  if (!existsSync(path) || instanceIdIn([path]) === instanceId) return;
  throw new RollcallError(
    'upkeep-failed',
    `There is a file already that is no backup of this record: ${path}. Choose another name or folder.`,
  );
}

/** Of the copy, as somebody would find it who needs it. */
function check(path: string, instanceId: string): void {
  const copy = new Database(path);
  try {
    knowRowChecksums(copy);
    // One file, that can also be read where no other file can be made beside it.
    copy.pragma('journal_mode = DELETE');
    const owner = copy.prepare<[], string>('SELECT instance_id FROM about').pluck().get();
    const end = verify(copy).next();
    const [fault] = end.done ? end.value.faults : [];
    const found = owner === instanceId ? fault : 'it is not of this record';
    if (found !== undefined) throw failed(path, `the copy is not sound. ${found}`);
  } catch (thrown) {
    // Damage that only the copy shows is no damage of the record.
    throw isDamage(thrown) ? failed(path, `the copy is not sound: ${messageOf(thrown)}`) : thrown;
  } finally {
    copy.close();
  }
}

function failed(path: string, why: string, cause?: unknown): RollcallError {
  const folder = dirname(path);
  return new RollcallError('upkeep-failed', `The backup cannot be written to ${folder}: ${why}.`, {
    cause,
  });
}

function synced(path: string, flags: 'r' | 'r+'): void {
  const file = openSync(path, flags);
  try {
    fsyncSync(file);
  } finally {
    closeSync(file);
  }
}
