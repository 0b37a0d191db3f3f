/**
 * A record with a past. One day is lived: judged and recorded by the house's own rounds under a clock that runs through it,
 * and put away by the record itself. The days before are copies of it, each encoded anew with its own instants, so that
 * years are there within minutes; today is lived again. Spans and outages reach back over all of it.
 */
import { randomUUID } from 'node:crypto';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import type { Clock } from '../../../src/base/clock.ts';
import { outageId } from '../../../src/base/ids.ts';
import { silentLog } from '../../../src/base/log.ts';
import type { Observation, Outage } from '../../../src/base/values.ts';
import { trouble } from '../../../src/probe/observe.ts';
import type { Record } from '../../../src/record/record.ts';
import {
  type Block,
  blocksOf,
  headCrc,
  type StoredBlock,
} from '../../../src/record/sqlite/blocks.ts';
import { openRecord } from '../../../src/record/sqlite/open.ts';
import { knowRowChecksums } from '../../../src/record/sqlite/row-checksums.ts';
import { checksumOf } from '../../../src/record/sqlite/sealed/checksum.ts';
import { encodeColumns } from '../../../src/record/sqlite/sealed/codec.ts';
import { sealingWrites } from '../../../src/record/sqlite/sealing-write.ts';
import { type RoundService, Rounds } from '../../../src/round.ts';
import { chance } from '../../simulate/chance.ts';

const minuteMs = 60_000;
const dayMs = 24 * 60 * minuteMs;
const weekMs = 7 * dayMs;

export interface Past {
  /** The data folder. */
  readonly folder: string;
  /** Observations in sealed days, and the bytes of these with all that stands beside them. */
  readonly sealedCount: number;
  readonly sealedBytes: number;
  remove(): void;
}

export interface PastGiven {
  /** Before today, which is lived up to a minute ago. UTC. */
  readonly days: number;
  readonly servicesCount: number;
  readonly everyMs: number;
}

/** Ids are `shelf-0`, `shelf-1` and so on. Each fails for a moment every day, and for twenty minutes every week. */
export async function past(given: PastGiven): Promise<Past> {
  const today = Math.floor(Date.now() / dayMs) * dayMs;
  const folders = [newFolder(), newFolder()] as const;
  const [folder, pattern] = folders;
  const remove = () => {
    for (const one of folders) rmSync(one, { recursive: true, force: true });
  };
  await onRecord(folder, today - given.days * dayMs, (record) => remember(record, given, today));
  await onRecord(pattern, today - dayMs, (record, clock) =>
    live(record, { ...given, clock, until: today, sealed: true }),
  );
  const copied = copyDays({ from: pattern, to: folder, days: given.days, today });
  await onRecord(folder, today, (record, clock) =>
    live(record, { ...given, clock, until: Date.now() - minuteMs, sealed: false }),
  );
  return { folder, ...copied, remove };
}

function newFolder(): string {
  return mkdtempSync(join(tmpdir(), 'rollcall-bench-'));
}

interface PastClock extends Clock {
  go(byMs: number): void;
}

async function onRecord(
  folder: string,
  wallMs: number,
  work: (record: Record, clock: PastClock) => Promise<void>,
): Promise<void> {
  let now = wallMs;
  const clock: PastClock = {
    wallMs: () => now,
    monotonicMs: () => now,
    bootMs: () => now,
    after: () => ({ cancel: () => {} }),
    go: (byMs) => {
      now += byMs;
    },
  };
  const pulse = () => ({ wallMs: now, bootMs: now, bootId: '' });
  const given = { folder, clock, log: silentLog, newId: randomUUID, pulse };
  const record = await openRecord({ ...given, upkeep: 'inline' });
  try {
    await work(record, clock);
  } finally {
    await record.close(pulse());
  }
}

/** The spans and outages of the days that are not lived. */
async function remember(record: Record, given: PastGiven, today: number): Promise<void> {
  const began = today - given.days * dayMs;
  for (let nth = 0; nth < given.servicesCount; nth++) {
    const serviceId = idOf(nth);
    const outages = Array.from({ length: Math.floor((given.days * dayMs) / weekMs) }, (_, week) =>
      outageAt(serviceId, began + week * weekMs + dayMs + 97 * nth * minuteMs, given.everyMs),
    );
    const edits = outages.flatMap(({ lastGoodAt, firstFailedAt, lastFailedAt, restoredAt }) => [
      { state: 'down' as const, from: firstFailedAt, earliestFrom: lastGoodAt ?? firstFailedAt },
      { state: 'up' as const, from: restoredAt ?? lastFailedAt, earliestFrom: lastFailedAt },
    ]);
    await record.commit({
      observations: [],
      memories: [],
      spans: [{ serviceId, edits: [{ state: 'up', from: began, earliestFrom: began }, ...edits] }],
      outages,
      unconfirmed: [],
      notices: [],
    });
  }
}

function outageAt(serviceId: string, firstFailedAt: number, everyMs: number): Outage {
  const restoredAt = firstFailedAt + 20 * minuteMs;
  return {
    id: outageId(serviceId, firstFailedAt),
    serviceId,
    lastGoodAt: firstFailedAt - everyMs,
    firstFailedAt,
    confirmedAt: firstFailedAt + 5_000,
    lastFailedAt: restoredAt - everyMs,
    restoredAt,
    trouble: trouble('refused'),
    causeId: null,
  };
}

interface Life extends PastGiven {
  readonly clock: PastClock;
  readonly until: number;
  readonly sealed: boolean;
}

async function live(record: Record, life: Life): Promise<void> {
  const { clock, until, everyMs } = life;
  const luck = chance(1, 'latencies');
  const rounds = new Rounds<number>({
    clock,
    log: silentLog,
    record,
    ask: async (nth) => answerAt(clock.wallMs(), nth, luck.next()),
    draft: () => [],
    tell: () => {},
    signal: new AbortController().signal,
  });
  await record.disturbed({ at: clock.wallMs(), kind: 'started', byMs: 0 });
  const services = Array.from({ length: life.servicesCount }, (_, nth) => serviceOf(nth, everyMs));
  await rounds.replace(services);
  for (; clock.wallMs() < until; clock.go(everyMs)) {
    for (const { id } of services) await rounds.round(id);
  }
  await record.disturbed({ at: clock.wallMs(), kind: 'stopped', byMs: 0 });
  if (life.sealed) await record.upkeep.seal(clock.wallMs() + dayMs);
}

function answerAt(at: number, nth: number, luck: number): Observation {
  const fails = (Math.floor(at / minuteMs) + 97 * nth) % (24 * 60) === 500;
  const tookUs = Math.round((4_000 + 900 * nth) * (0.8 + 0.3 * luck + 1.5 * luck ** 20));
  return {
    // A timer is late by a moment.
    at: at + Math.floor(2 * luck),
    outcome: fails ? 'failed' : 'answered',
    tookUs,
    phases: { connectUs: Math.round(tookUs / 5), answerUs: tookUs - Math.round(tookUs / 5) },
    trouble: fails ? trouble('refused') : null,
    facts: { serverVersion: '15.18' },
  };
}

function serviceOf(nth: number, everyMs: number): RoundService<number> {
  return {
    id: idOf(nth),
    needs: [],
    through: [],
    everyMs,
    timeoutMs: 5_000,
    recheckMs: 5_000,
    confirm: 2,
    restore: 1,
    unanswered: 'down',
    slowMs: null,
    slower: {},
    fingerprint: 'settings',
    probe: nth,
  };
}

function idOf(nth: number): string {
  return `shelf-${nth}`;
}

/** Writes the sealed day of one record as so many days into another, a volume a day, as sealing does. */
function copyDays(given: { from: string; to: string; days: number; today: number }): {
  readonly sealedCount: number;
  readonly sealedBytes: number;
} {
  const from = new Database(join(given.from, 'rollcall.db'), { readonly: true });
  const to = new Database(join(given.to, 'rollcall.db'));
  const lived = given.today / dayMs - 1;
  const blocks = Array.from(blocksOf(from).every()).filter(({ day }) => day === lived);
  const before = sizeBytes(to);
  knowRowChecksums(to);
  const writes = sealingWrites(to);
  const write = to.transaction((days: readonly StoredBlock[]) =>
    writes.days({ days: days.map((block) => ({ block, chunks: [], replaces: null })) }),
  );
  for (let ago = given.days - 1; ago >= 0; ago--) write(blocks.map((one) => daysBefore(one, ago)));
  const after = sizeBytes(to);
  const count = blocks.reduce((sum, block) => sum + (block.columns()?.count ?? 0), 0);
  from.close();
  to.close();
  return { sealedCount: count * given.days, sealedBytes: after - before };
}

function sizeBytes(database: Database.Database): number {
  const [pages, bytes] = ['page_count', 'page_size'].map((name) =>
    database.pragma(name, { simple: true }),
  );
  return Number(pages) * Number(bytes);
}

function daysBefore(block: Block, days: number): StoredBlock {
  const stored = block.stored();
  const columns = block.columns();
  if (!columns) throw new Error('a damaged block');
  const byMs = days * dayMs;
  const columnBytes = encodeColumns({ ...columns, at: columns.at.map((at) => at - byMs) });
  const sketches = stored.bytes.subarray(0, stored.sketchesBytes);
  const head = {
    ...stored,
    day: stored.day - days,
    firstAt: stored.firstAt - byMs,
    lastAt: stored.lastAt - byMs,
    columnsCrc: checksumOf(columnBytes),
  };
  return { ...head, crc: headCrc(head, sketches), bytes: Buffer.concat([sketches, columnBytes]) };
}
