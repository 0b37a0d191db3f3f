/** Puts the file of a record out of the way with what belongs to it, under a name that says why and when. */
import { existsSync, readdirSync, renameSync, rmSync, statSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { instantText } from '../../base/instants.ts';
import { damagedFilesCountMax } from '../../base/limits.ts';

/** Beside the database: its log, and what its connections share. They belong to it and go where it goes. */
const companions = ['-wal', '-shm'] as const;

/** A path in the same folder under which nothing lies: `rollcall.damaged-20261125T040000Z.db`. */
export function asidePath(path: string, why: 'damaged' | 'foreign', now: number): string {
  const instant = instantText(now).replace(/[-:]|\.\d+/g, '');
  const stem = join(dirname(path), `${basename(path, '.db')}.${why}-${instant}`);
  let place = `${stem}.db`;
  for (let nth = 2; existsSync(place); nth++) place = `${stem}-${nth}.db`;
  return place;
}

/** No connection may be open on it, but one that is only going to be closed. */
export function setAside(path: string, aside: string): void {
  setCompanionsAside(path, aside);
  renameSync(path, aside);
}

export function setCompanionsAside(path: string, aside: string): void {
  for (const end of companions) {
    if (existsSync(path + end)) renameSync(path + end, aside + end);
  }
}

/** Those of no database would be taken for those of the next one. */
export function removeCompanions(path: string): void {
  for (const end of companions) rmSync(path + end, { force: true });
}

export function removeDatabase(path: string): void {
  removeCompanions(path);
  rmSync(path, { force: true });
}

/** Of damaged files only the newest few are kept: a failing disk must not be filled with them. */
export function forgetOldDamaged(path: string): void {
  const [folder, prefix] = [dirname(path), `${basename(path, '.db')}.damaged-`];
  const found = readdirSync(folder).filter(
    (name) => name.startsWith(prefix) && name.endsWith('.db'),
  );
  for (const name of found.sort().reverse().slice(damagedFilesCountMax)) {
    removeDatabase(join(folder, name));
  }
}

/** Tells one file from another that has come to lie under its name; null: there is none to be found. */
export function identityOf(path: string): string | null {
  try {
    const { dev, ino } = statSync(path);
    return `${dev} ${ino}`;
  } catch {
    return null;
  }
}
