/**
 * The power goes at any instant. A trace of what a record writes between two commits is cut into blocks, and any of those
 * that were not yet synchronised may be missing, in any order. Whatever is left opens as a record that has every change
 * that was committed, and none by half.
 *
 * When SQLite synchronises in this mode (sqlite.org/wal.html, "Checkpointing", and `synchronous=FULL`): the log with each
 * commit; its header, where it is begun anew, before what follows; the database when the log was moved into it, and only
 * then is the log begun anew.
 */
import { spawnSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { logFault } from '../../src/record/sqlite/log-check.ts';
import { changeSetNumber, routineCount, serviceId } from './support/change-sets.ts';
import { openAt } from './support/lived-record.ts';
import { openEngine, temporaryFolder } from './support/sqlite.ts';
import { always, pulse, t0 } from './support/values.ts';

let root: ReturnType<typeof temporaryFolder>;
beforeEach(() => {
  root = temporaryFolder();
});
afterEach(() => root.end());

interface Files {
  readonly db: Buffer;
  readonly wal: Buffer;
}

/** The files after each commit, from the first on. The process is not stopped: nothing is tidied up. */
async function traceOf(commitsCount: number, movedAtPages = 30): Promise<readonly Files[]> {
  const folder = join(root.folder, 'traced');
  mkdirSync(folder);
  const { record, database } = openEngine(folder);
  // With few of them the log is moved into the database, and begun anew, every few commits.
  database.pragma(`wal_autocheckpoint = ${movedAtPages}`);
  const trace: Files[] = [];
  for (let number = 0; number < commitsCount; number++) {
    const { routine, set } = changeSetNumber(number);
    for (const entry of routine) await record.observe(entry);
    await record.commit(set);
    const copy = join(root.folder, `copy-${number}`);
    mkdirSync(copy);
    // From outside: this process would lose its locks on files that it opens and closes beside SQLite.
    spawnSync('cp', [join(folder, 'rollcall.db'), join(folder, 'rollcall.db-wal'), copy]);
    trace.push({
      db: readFileSync(join(copy, 'rollcall.db')),
      wal: readFileSync(join(copy, 'rollcall.db-wal')),
    });
    rmSync(copy, { recursive: true });
  }
  await record.close(pulse(t0));
  return trace;
}

/** A generator of numbers in [0, 1) that gives the same ones again (Park and Miller's "minimal standard"). */
function chance(seed: number): () => number {
  let state = seed;
  return () => {
    state = (state * 48_271) % 2_147_483_647;
    return state / 2_147_483_647;
  };
}

const blockBytes = 512;

/** Of what was written between two states of a file, only some blocks. */
function torn(before: Buffer, after: Buffer, survives: () => boolean): Buffer {
  const made = Buffer.alloc(Math.max(before.length, after.length));
  before.copy(made);
  let end = before.length;
  for (let at = 0; at < after.length; at += blockBytes) {
    const block = after.subarray(at, at + blockBytes);
    if (block.equals(before.subarray(at, at + blockBytes))) continue;
    // The header of a log that is begun anew is on the disk before what follows it.
    const isHeader = at === 0 && !block.subarray(0, 32).equals(before.subarray(0, 32));
    if (!isHeader && !survives()) continue;
    block.copy(made, at);
    end = Math.max(end, at + block.length);
  }
  return made.subarray(0, end);
}

/** How many change sets are in the record that is left; throws where one is there by half, or anything is wrong. */
async function committedIn(files: Files): Promise<number> {
  const folder = join(root.folder, 'cut');
  mkdirSync(folder);
  writeFileSync(join(folder, 'rollcall.db'), files.db);
  writeFileSync(join(folder, 'rollcall.db-wal'), files.wal);
  const { record } = await openAt(folder);
  expect(record.health()).toMatchObject({ writable: true, damage: null });
  const count = (await record.outages(null, always)).length;
  expect(await record.upkeep.verify()).toMatchObject({
    faults: [],
    observationsCount: count * (routineCount + 1),
  });
  expect(await record.spans(serviceId, always)).toHaveLength(2 * count);
  expect(await record.unconfirmed(serviceId, always)).toHaveLength(count);
  await record.close(pulse(t0));
  expect(readdirSync(folder).filter((name) => name.includes('damaged'))).toEqual([]);
  rmSync(folder, { recursive: true });
  return count;
}

test('whatever blocks of a commit reached the disk, the ones before it are there, and it is there whole or not at all', async () => {
  const trace = await traceOf(16);
  const random = chance(20_261_125);
  const moved = trace.filter(
    ({ db }, place) => place > 0 && !db.equals(trace[place - 1]?.db ?? db),
  );
  // The log was moved, and begun anew, some times: else half of what can happen was not tried.
  expect(moved.length).toBeGreaterThan(3);
  for (let done = 1; done < trace.length; done++) {
    const [before, after] = [trace[done - 1], trace[done]];
    if (!before || !after) throw new Error('unreachable');
    for (const share of [0, 0.5, 0.95]) {
      const wal = torn(before.wal, after.wal, () => random() < share);
      const count = await committedIn({ db: before.db, wal });
      expect({ done, share, count }).toEqual({
        done,
        share,
        count: expect.toBeOneOf([done, done + 1]),
      });
    }
    if (before.db.equals(after.db)) continue;
    for (const share of [0, 0.5, 1]) {
      const db = torn(before.db, after.db, () => random() < share);
      expect({ done, share, count: await committedIn({ db, wal: after.wal }) }).toEqual({
        done,
        share,
        count: done + 1,
      });
    }
  }
}, 240_000);

describe('damage of the log', () => {
  /** Where frames begin, and which of them end a transaction. */
  function framesOf(wal: Buffer) {
    const pageBytes = wal.readUInt32BE(8);
    const frames: { at: number; isEnd: boolean }[] = [];
    for (let at = 32; at + 24 + pageBytes <= wal.length; at += 24 + pageBytes) {
      if (wal.compare(wal, 16, 24, at + 8, at + 16) !== 0) break;
      frames.push({ at, isEnd: wal.readUInt32BE(at + 4) !== 0 });
    }
    return frames;
  }

  const write = (folder: string, { db, wal }: Files) => {
    rmSync(folder, { recursive: true, force: true });
    mkdirSync(folder);
    writeFileSync(join(folder, 'rollcall.db'), db);
    writeFileSync(join(folder, 'rollcall.db-wal'), wal);
  };
  const flippedAt = (wal: Buffer, at: number) => {
    const damaged = Buffer.from(wal);
    damaged[at] = (damaged[at] ?? 0) ^ 0x10;
    return damaged;
  };

  test('is found where whole transactions follow it, and what can be had besides is had', async () => {
    const trace = await traceOf(6, 10_000);
    const last = trace.at(-1);
    if (!last) throw new Error('unreachable');
    const folder = join(root.folder, 'cut');
    const frames = framesOf(last.wal);
    const ends = frames.filter(({ isEnd }) => isEnd);
    expect(ends.length).toBeGreaterThan(3);
    const lastBegins = (ends.at(-2)?.at ?? 0) + 24;
    for (const { at } of frames) {
      for (const place of [at + 2, at + 9, at + 17, at + 24 + 700]) {
        write(folder, { db: last.db, wal: flippedAt(last.wal, place) });
        const fault = logFault(join(folder, 'rollcall.db'));
        if (place < lastBegins)
          expect({ place, fault }).toEqual({ place, fault: expect.any(String) });
      }
    }
    for (const place of [3, 9, 18, 26]) {
      write(folder, { db: last.db, wal: flippedAt(last.wal, place) });
      expect(logFault(join(folder, 'rollcall.db'))).not.toBeNull();
    }

    const [, second] = ends;
    const damagedWal = flippedAt(last.wal, (second?.at ?? 0) + 24 + 100);
    write(folder, { db: last.db, wal: damagedWal });
    const { record } = await openAt(folder);
    await expect.poll(() => record.health().writable, { timeout: 15_000 }).toBe(true);
    expect(record.health().damage).toContain('Its log is damaged');
    const aside = readdirSync(folder).find(
      (name) => name.endsWith('.db-wal') && name.includes('damaged'),
    );
    expect(readFileSync(join(folder, aside ?? ''))).toEqual(damagedWal);
    expect(await record.upkeep.verify()).toMatchObject({ faults: [] });
    await record.close(pulse(t0));
  }, 60_000);

  test('is not seen in a log that is whole, empty, or not there', async () => {
    const trace = await traceOf(12);
    const folder = join(root.folder, 'cut');
    for (const files of trace) {
      write(folder, files);
      expect(logFault(join(folder, 'rollcall.db'))).toBeNull();
    }
    writeFileSync(join(folder, 'rollcall.db-wal'), '');
    expect(logFault(join(folder, 'rollcall.db'))).toBeNull();
    rmSync(join(folder, 'rollcall.db-wal'));
    expect(logFault(join(folder, 'rollcall.db'))).toBeNull();
  }, 60_000);
});
