/** The files of nightly backups: their names, which of them are kept, and which one would be restored first. */
import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { instantText, parseInstant } from './base/instants.ts';

const form = /^rollcall-(\d{4}-\d{2}-\d{2})\.db$/;
const dayMs = 86_400_000;

/** `rollcall-2026-11-25.db`: one a UTC day. */
export function backupName(at: number): string {
  return `rollcall-${instantText(at).slice(0, 10)}.db`;
}

export interface Rotation {
  /** So many of the newest are kept. */
  readonly days: number;
  /** And of older ones the last of so many weeks. */
  readonly weeks: number;
}

/** Which of these names may go, the oldest last. Names of another form are none of ours and stay. */
export function superfluous(names: readonly string[], { days, weeks }: Rotation): string[] {
  const dated = newestFirst(names);
  const newest = dated.slice(0, days);
  const seen = new Set(newest.map(({ day }) => weekOf(day)));
  let weeksLeft = weeks;
  return dated.slice(days).flatMap(({ name, day }) => {
    const week = weekOf(day);
    if (weeksLeft === 0 || seen.has(week)) return [name];
    seen.add(week);
    weeksLeft--;
    return [];
  });
}

/** Paths of the backups in a folder, the newest first; none where it cannot be read. */
export function backupsIn(folder: string): string[] {
  try {
    return newestFirst(readdirSync(folder)).map(({ name }) => join(folder, name));
  } catch {
    return [];
  }
}

function newestFirst(names: readonly string[]) {
  return names
    .flatMap((name) => {
      const at = parseInstant(`${form.exec(name)?.[1] ?? ''}T00:00:00Z`);
      return at === null ? [] : [{ name, day: at / dayMs }];
    })
    .sort((one, other) => other.day - one.day);
}

/** Weeks begin on Monday (ISO 8601); day 0, 1 January 1970, was a Thursday. */
function weekOf(day: number): number {
  return Math.floor((day + 3) / 7);
}
