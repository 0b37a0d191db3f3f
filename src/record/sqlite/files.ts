/** The data folder and the files in it: for this user alone. */
import { closeSync, existsSync, mkdirSync, openSync, statSync } from 'node:fs';
import { messageOf, RollcallError } from '../../base/errors.ts';

/** Makes the folder (0700) where there is none. An existing one keeps the mode that its owner gave it. */
export function ensureFolder(folder: string): void {
  try {
    mkdirSync(folder, { recursive: true, mode: 0o700 });
  } catch (thrown) {
    throw unusable(folder, thrown);
  }
}

/**
 * Makes the file (0600) where there is none; SQLite gives its companions (-wal, -shm) the same mode.
 * An existing one is not so much as opened: to close it again would drop the locks that this process holds on it
 * (sqlite.org/howtocorrupt.html, 2.2).
 */
export function ensureFile(path: string): void {
  try {
    closeSync(openSync(path, 'wx', 0o600));
  } catch (thrown) {
    if (!existsSync(path)) throw unusable(path, thrown);
  }
}

function unusable(path: string, thrown: unknown): RollcallError {
  return new RollcallError(
    'data-folder-unusable',
    `The data folder cannot be used: ${path}: ${messageOf(thrown)}.`,
    { cause: thrown },
  );
}

/** Size of the record on the disk, with what is not yet moved from the log into the file; 0 where nothing is to be found. */
export function sizeBytesOf(path: string): number {
  return sizeOf(path) + sizeOf(`${path}-wal`);
}

function sizeOf(path: string): number {
  try {
    return statSync(path).size;
  } catch {
    return 0;
  }
}
