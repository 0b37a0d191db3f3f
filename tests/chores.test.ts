/** The chores of the record: each once a day at its time, what was missed is caught up, what failed stays due. */
import { mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { RollcallError } from '../src/base/errors.ts';
import { silentLog } from '../src/base/log.ts';
import { type ChoreSettings, type Chores, choresOf } from '../src/chores.ts';
import { simulatedClock } from './support/clock-simulated.ts';

const hour = 3_600_000;
const day = 24 * hour;
const at = (text: string) => Date.parse(`2026-11-${text}Z`);

let folder: string;
/** What the record was asked to do, with the instant where it is given one. */
let done: string[];
let kept: Map<string, string>;
let settings: ChoreSettings;
let failing: Set<string>;
let clock: ReturnType<typeof simulatedClock>;
let chores: Chores;

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'rollcall-chores-'));
  done = [];
  kept = new Map();
  failing = new Set();
  settings = { keepDays: null, backup: null };
  clock = simulatedClock({ wallMs: at('25T12:00:00') });
  chores = fresh();
});
afterEach(() => rmSync(folder, { recursive: true }));

/** As after a restart: what the record keeps is all that is left. */
function fresh(): Chores {
  const act = (what: string, more = '') => {
    if (failing.has(what)) throw new RollcallError('upkeep-failed', `No ${what} today.`);
    done.push(`${what}${more}`);
  };
  return choresOf({
    clock,
    log: silentLog,
    settings: () => settings,
    record: {
      kept: async (name) => kept.get(name) ?? null,
      keep: async (name, words) => void kept.set(name, words),
      upkeep: {
        seal: async () => {
          act('seal');
          return { sealedDaysCount: 1 };
        },
        prune: async (before) => {
          act('prune', ` before ${new Date(before).toISOString()}`);
          return { prunedDaysCount: 0 };
        },
        verify: async () => {
          act('verify');
          return { faults: [], sealedDaysCount: 0, observationsCount: 0, tookMs: 1 };
        },
        backup: async (path) => {
          act('backup');
          writeFileSync(path, 'a backup');
          return { sizeBytes: 8 };
        },
      },
    },
  });
}

async function doneAt(text: string): Promise<string[]> {
  done = [];
  await chores.catchUp(at(text));
  return done;
}

test('on the first day everything that is wanted is done at once', async () => {
  expect(await doneAt('25T12:00:00')).toEqual(['seal', 'verify']);
});

test('each is done once after its time, however often one looks', async () => {
  await chores.catchUp(at('25T12:00:00'));
  expect(await doneAt('25T23:59:59')).toEqual([]);
  expect(await doneAt('26T00:19:59')).toEqual([]);
  expect(await doneAt('26T00:20:00')).toEqual(['seal']);
  expect(await doneAt('26T00:20:01')).toEqual([]);
  expect(await doneAt('26T03:40:00')).toEqual(['verify']);
  expect(await doneAt('26T12:00:00')).toEqual([]);
});

test('after a stop, what was missed is done once', async () => {
  await chores.catchUp(at('20T12:00:00'));
  chores = fresh();
  expect(await doneAt('25T12:00:00')).toEqual(['seal', 'verify']);
});

test('a restart looks through the record again, unless that was done within the hour', async () => {
  await chores.catchUp(at('25T12:00:00'));
  chores = fresh();
  expect(await doneAt('25T12:30:00')).toEqual([]);
  chores = fresh();
  expect(await doneAt('25T14:00:00')).toEqual(['verify']);
  expect(await doneAt('25T20:00:00')).toEqual([]);
});

test('a clock that was ahead when they were done does not keep them from being done', async () => {
  await chores.catchUp(at('30T12:00:00'));
  expect(await doneAt('25T12:00:00')).toEqual(['seal', 'verify']);
});

test('a season of looks every fifteen minutes does each once a day', async () => {
  settings = { keepDays: 90, backup: { to: folder, days: 7, weeks: 4 } };
  const from = at('25T00:00:00');
  await chores.catchUp(from);
  done = [];
  for (let now = from + 15 * 60_000; now <= from + 90 * day; now += 15 * 60_000) {
    await chores.catchUp(now);
  }
  const count = (what: string) => done.filter((one) => one.startsWith(what)).length;
  expect(['seal', 'prune', 'backup', 'verify'].map(count)).toEqual([90, 90, 90, 90]);
  expect(readdirSync(folder)).toHaveLength(11);
});

test('what is older than it may be is forgotten, and nothing where all is kept', async () => {
  settings = { keepDays: 732, backup: null };
  expect(await doneAt('25T12:00:00')).toContain('prune before 2024-11-23T12:00:00.000Z');
  settings = { keepDays: null, backup: null };
  expect(await doneAt('27T12:00:00')).not.toContain('prune');
});

describe('one that fails', () => {
  test('is said, stays due, and its sentence goes when it is done', async () => {
    failing.add('seal');
    expect(await doneAt('25T12:00:00')).toEqual(['verify']);
    expect(chores.troubles()).toEqual([
      { chore: 'seal', text: 'Days that are over could not be put away: No seal today.' },
    ]);
    failing.clear();
    expect(await doneAt('25T12:15:00')).toEqual(['seal']);
    expect(chores.troubles()).toEqual([]);
  });

  test('does not keep the others back while it hangs, is not begun twice, and is said after an hour', async () => {
    let end: () => void = () => {};
    const hung = choresOf({
      clock,
      log: silentLog,
      settings: () => settings,
      record: {
        kept: async (name) => kept.get(name) ?? null,
        keep: async (name, words) => void kept.set(name, words),
        upkeep: {
          seal: () => {
            done.push('seal');
            return new Promise((resolve) => {
              end = () => resolve({ sealedDaysCount: 0 });
            });
          },
          prune: async () => ({ prunedDaysCount: 0 }),
          verify: async () => {
            done.push('verify');
            return { faults: [], sealedDaysCount: 0, observationsCount: 0, tookMs: 1 };
          },
          backup: async () => ({ sizeBytes: 0 }),
        },
      },
    });
    const first = hung.catchUp(at('25T12:00:00'));
    await clock.advance(1);
    const second = hung.catchUp(at('26T12:00:00'));
    await clock.advance(2 * hour);
    expect(done).toEqual(['seal', 'verify', 'verify']);
    expect(hung.troubles()).toMatchObject([
      { chore: 'seal', text: expect.stringContaining('hour') },
    ]);
    end();
    await Promise.all([first, second]);
    expect(hung.troubles()).toEqual([]);
  });
});

describe('backups', () => {
  beforeEach(() => {
    settings = { keepDays: null, backup: { to: folder, days: 2, weeks: 0 } };
  });

  test('are kept as configured, and files that this record did not make stay', async () => {
    writeFileSync(join(folder, 'rollcall-2020-01-01.db'), 'of somebody else');
    writeFileSync(join(folder, 'letter.txt'), 'a letter');
    for (const date of ['21', '22', '23', '24']) await chores.catchUp(at(`${date}T12:00:00`));
    expect(readdirSync(folder).sort()).toEqual([
      'letter.txt',
      'rollcall-2020-01-01.db',
      'rollcall-2026-11-23.db',
      'rollcall-2026-11-24.db',
    ]);
  });

  test('that fail take no older one away, and are tried again', async () => {
    for (const date of ['21', '22']) await chores.catchUp(at(`${date}T12:00:00`));
    failing.add('backup');
    for (const date of ['23', '24', '25']) await chores.catchUp(at(`${date}T12:00:00`));
    expect(readdirSync(folder).sort()).toEqual([
      'rollcall-2026-11-21.db',
      'rollcall-2026-11-22.db',
    ]);
    expect(chores.troubles()).toEqual([
      { chore: 'backup', text: 'The record was not backed up: No backup today.' },
    ]);
    failing.clear();
    expect(await doneAt('25T12:15:00')).toEqual(['backup']);
  });

  test('that are no longer wanted are not complained of', async () => {
    failing.add('backup');
    await chores.catchUp(at('25T12:00:00'));
    settings = { keepDays: null, backup: null };
    await chores.catchUp(at('25T12:15:00'));
    expect(chores.troubles()).toEqual([]);
  });

  test('can be asked for at any time, and need a folder', async () => {
    expect(await chores.backUp(at('25T12:00:00'))).toEqual({
      path: join(folder, 'rollcall-2026-11-25.db'),
      sizeBytes: 8,
    });
    expect(await doneAt('25T12:00:01')).not.toContain('backup');
    settings = { keepDays: null, backup: null };
    await expect(chores.backUp(at('25T12:00:00'))).rejects.toMatchObject({ code: 'usage' });
  });
});
