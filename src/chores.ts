/**
 * The housework of the record: put days away, look through everything, back it up, forget what is too old. Each chore has
 * its time of the UTC day and remembers in the record when it was last done; so whoever calls `catchUp` as often as they
 * like has each done once a day, and after a stop what was missed.
 */
import { unlink } from 'node:fs/promises';
import { join } from 'node:path';
import type { Clock } from './base/clock.ts';
import { messageOf, RollcallError } from './base/errors.ts';
import { choreMsMax } from './base/limits.ts';
import type { Log } from './base/log.ts';
import type { Record } from './record/record.ts';
import { backupName, type Rotation, superfluous } from './rotation.ts';

export interface ChoresGiven {
  readonly clock: Pick<Clock, 'wallMs' | 'monotonicMs'>;
  readonly record: Pick<Record, 'upkeep' | 'kept' | 'keep'>;
  readonly log: Log;
  /** As configured now. */
  readonly settings: () => ChoreSettings;
}

export interface ChoreSettings {
  /** Null: nothing is forgotten. */
  readonly keepDays: number | null;
  /** Null: there are no backups. */
  readonly backup: (Rotation & { readonly to: string }) | null;
}

export interface Chores {
  /** Does what is due at `now`, all at once; resolves when it is over. What failed stays due. Does not reject. */
  catchUp(now: number): Promise<void>;
  /** A backup now, under today's name, whether or not it is due. Rejects with a RollcallError. */
  backUp(now: number): Promise<Made>;
  /** What is wrong, for people; a chore that is done without complaint takes its sentence back. */
  troubles(): readonly ChoreTrouble[];
  /** Nothing is begun any more. What runs is cut off when the record is closed, and stays due. */
  stop(): void;
}

interface ChoreTrouble {
  readonly chore: ChoreName;
  readonly text: string;
}

/** A backup that was made. */
export interface Made {
  readonly path: string;
  readonly sizeBytes: number;
}

const minute = 60_000;
const hour = 60 * minute;
const day = 24 * hour;

/** UTC times of the day. Days are put away when they are over; what looks through everything comes after the backup. */
export const choreTimes = {
  seal: 20 * minute,
  prune: 50 * minute,
  backup: 2 * hour + 10 * minute,
  verify: 3 * hour + 40 * minute,
} as const;
export type ChoreName = keyof typeof choreTimes;
const choreNames = Object.keys(choreTimes) as readonly ChoreName[];

interface Running {
  readonly done: Promise<void>;
  readonly beganMs: number;
}

export function choresOf(given: ChoresGiven): Chores {
  const { clock, record, log } = given;
  const works = worksOf(given);
  const running = new Map<ChoreName, Running>();
  const failed = new Map<ChoreName, string>();
  let verified = false;
  let stopped = false;

  const attempt = async (name: ChoreName, now: number): Promise<void> => {
    try {
      if (!(await isDue(name, now))) return;
      await works[name].work(now);
      verified ||= name === 'verify';
      await record.keep(nameOf(name), String(now));
      if (failed.delete(name)) log.info({ chore: name }, 'a chore was done after all');
    } catch (thrown) {
      if (stopped) return;
      const text = messageOf(thrown);
      if (failed.get(name) !== text) log.error({ chore: name, error: text }, 'a chore failed');
      failed.set(name, text);
    }
  };
  const isDue = async (name: ChoreName, now: number): Promise<boolean> => {
    if (!works[name].wanted()) {
      failed.delete(name);
      return false;
    }
    const last = Number((await record.kept(nameOf(name))) ?? Number.NaN);
    // Whatever happened while nobody ran, a start begins with a look through the record.
    const since = name === 'verify' && !verified ? now - hour : lastTime(name, now);
    // One that was done in the future was done under another clock, and is done again.
    return !(last >= since && last <= now);
  };
  const begin = (name: ChoreName, now: number): Promise<void> => {
    const under = running.get(name);
    if (under) return under.done;
    const done = attempt(name, now).finally(() => running.delete(name));
    running.set(name, { done, beganMs: clock.monotonicMs() });
    return done;
  };

  return {
    catchUp: async (now) => {
      if (stopped) return;
      await Promise.all(choreNames.map((name) => begin(name, now)));
    },
    backUp: async (now) => {
      const made = await backUp(given, now);
      await record.keep(nameOf('backup'), String(now));
      failed.delete('backup');
      return made;
    },
    troubles: () =>
      choreNames.flatMap((chore) => {
        const error = failed.get(chore);
        const long = isLong(running.get(chore), clock);
        if (error === undefined && !long) return [];
        const why = error ?? 'it has been going on for more than an hour.';
        return [{ chore, text: `${works[chore].failure}: ${why}` }];
      }),
    stop: () => {
      stopped = true;
    },
  };
}

function nameOf(name: ChoreName): string {
  return `chore:${name}`;
}

/** When it was due last. */
function lastTime(name: ChoreName, now: number): number {
  const time = choreTimes[name];
  return Math.floor((now - time) / day) * day + time;
}

function isLong(running: Running | undefined, clock: ChoresGiven['clock']): boolean {
  return running !== undefined && clock.monotonicMs() - running.beganMs > choreMsMax;
}

interface Work {
  readonly wanted: () => boolean;
  readonly work: (now: number) => Promise<void>;
  /** Begins the sentence that says so. */
  readonly failure: string;
}

function worksOf(given: ChoresGiven): { readonly [name in ChoreName]: Work } {
  const { log, settings } = given;
  const { upkeep } = given.record;
  const always = () => true;
  return {
    seal: {
      wanted: always,
      work: async (now) => {
        const { sealedDaysCount } = await upkeep.seal(now);
        log.info({ sealedDaysCount }, 'days were put away');
      },
      failure: 'Days that are over could not be put away',
    },
    prune: {
      wanted: () => settings().keepDays !== null,
      work: async (now) => {
        const { keepDays } = settings();
        if (keepDays === null) return;
        const { prunedDaysCount } = await upkeep.prune(now - keepDays * day);
        log.info({ prunedDaysCount }, 'old days were forgotten');
      },
      failure: 'Old days could not be forgotten',
    },
    backup: {
      wanted: () => settings().backup !== null,
      work: async (now) => void (await backUp(given, now)),
      failure: 'The record was not backed up',
    },
    verify: {
      wanted: always,
      work: async () => {
        const { faults, ...found } = await upkeep.verify();
        // What becomes of a damaged record is said by the record itself.
        log.info({ faultsCount: faults.length, ...found }, 'the record was looked through');
      },
      failure: 'The record could not be looked through',
    },
  };
}

async function backUp({ record, log, settings }: ChoresGiven, now: number): Promise<Made> {
  const { backup } = settings();
  if (!backup) {
    throw new RollcallError(
      'usage',
      'the configuration names no folder for backups (`record.backup.to`): name a file',
    );
  }
  const name = backupName(now);
  const path = join(backup.to, name);
  const { sizeBytes } = await record.upkeep.backup(path);
  log.info({ path, sizeBytes }, 'the record was backed up');
  await rotate({ record, log }, backup, name);
  return { path, sizeBytes };
}

const madeName = 'chore:backups made';

/** Only after a good one, and only files that this record is known to have made. */
async function rotate(
  { record, log }: Pick<ChoresGiven, 'record' | 'log'>,
  backup: NonNullable<ChoreSettings['backup']>,
  name: string,
): Promise<void> {
  const made = new Set((await record.kept(madeName))?.split(' ').filter(Boolean));
  made.add(name);
  for (const old of superfluous([...made], backup)) {
    try {
      await unlink(join(backup.to, old));
    } catch (thrown) {
      if (!isAbsent(thrown)) {
        log.warn({ name: old, error: messageOf(thrown) }, 'an old backup stays');
        continue;
      }
    }
    made.delete(old);
  }
  await record.keep(madeName, [...made].sort().join(' '));
}

function isAbsent(thrown: unknown): boolean {
  return thrown instanceof Error && 'code' in thrown && thrown.code === 'ENOENT';
}
