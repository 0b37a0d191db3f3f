/** The Record port on one SQLite database: each call handed to the part that does it, and the timer of the groups. */
import type { Database } from 'better-sqlite3';
import type { Alarm, Clock } from '../../base/clock.ts';
import { RollcallError } from '../../base/errors.ts';
import { groupCommitMs } from '../../base/limits.ts';
import type { Log } from '../../base/log.ts';
import type { Observation } from '../../base/values.ts';
import { stepsOf } from '../../uptime/quantiles.ts';
import type { ChangeSet, Pulse, Range, Record, RecordHealth } from '../record.ts';
import { newestOf } from './counts.ts';
import { sizeBytesOf } from './files.ts';
import { keptWith } from './kept.ts';
import type { Migration } from './migrate.ts';
import { createWriter, type Writer } from './writer.ts';

export interface EngineGiven {
  /** Connected, and in the newest shape. */
  readonly database: Database;
  readonly migrations: readonly Migration[];
  readonly instanceId: string;
  readonly clock: Clock;
  readonly log: Log;
  readonly pulse: () => Pulse;
  /** After the database was closed. */
  readonly closed: () => void;
}

export function recordOn(given: EngineGiven): Record {
  const { database, clock } = given;
  const writer = createWriter(given);
  const kept = keptWith(writer);
  const timer = repeated(clock, () => writer.flush(given.pulse()));
  const reads = { queries: () => writer.tables().queries, outbox: () => writer.tables().outbox };

  return {
    instanceId: given.instanceId,

    observe: async (entry) => {
      if (!database.open) throw new Error('The record is closed.');
      writer.queue.observe(entry);
    },
    commit: async (changes) => commit(writer, changes),
    flush: async (pulse) => writer.flush(pulse),
    disturbed: async (disturbance) => {
      const apply = done(({ changes }) => changes.disturbed(disturbance));
      writer.perform({ what: 'a disturbance', apply });
    },
    keep: async (name, words) => {
      if (!database.open) throw new Error('The record is closed.');
      kept.keep(name, words);
    },

    remembered: async (serviceId) => ({
      memory: reads.queries().memory(serviceId),
      last: writer.queue.observationsOf(serviceId).at(-1) ?? writer.tail.newest(serviceId),
    }),
    lastPulse: async () => reads.queries().pulse(),
    spans: async (serviceId, range) => reads.queries().spans(serviceId, range),
    observations: async (serviceId, range, countMax = Number.POSITIVE_INFINITY) =>
      observations(writer, { serviceId, range, countMax }),
    steps: async (serviceId, range, stepMs) =>
      stepsOf({
        observations: observations(writer, {
          serviceId,
          range,
          countMax: Number.POSITIVE_INFINITY,
        }),
        ...range,
        stepMs,
      }),
    latencies: async () => notYet('latencies'),
    upkeep: {
      seal: async () => notYet('sealing'),
      prune: async () => notYet('pruning'),
      verify: async () => notYet('verifying'),
      backup: async () => notYet('backing up'),
    },
    outages: async (serviceId, range, countMax = Number.POSITIVE_INFINITY) =>
      reads.queries().outages(serviceId, range, countMax),
    outage: async (id) => reads.queries().outage(id),
    unconfirmed: async (serviceId, range) => reads.queries().unconfirmed(serviceId, range),
    disturbances: async (range) => reads.queries().disturbances(range),
    kept: async (name) => kept.words(name),

    dueDeliveries: async (now, countMax) => reads.outbox().due(now, countMax),
    nextDeliveryAt: async () => reads.outbox().nextAt(),
    claim: async (noticeId, channel, at) => {
      const apply: Apply = ({ notices }) => notices.claim(noticeId, channel, at);
      return writer.perform({ what: 'a claim', apply }).value;
    },
    attempted: async (attempt) => {
      const apply: Apply = ({ notices }) => notices.attempted(attempt);
      writer.perform({ what: 'an attempt', apply });
    },
    deliveriesOf: async (outageId) => reads.outbox().ofOutage(outageId),
    deadLetters: async (countMax) => reads.outbox().dead(countMax),

    health: () => healthOf(writer, database.name),
    close: async (pulse) => {
      if (!database.open) return;
      timer.cancel();
      writer.flush(pulse);
      writer.close();
      given.closed();
    },
  };
}

type Apply = Parameters<Writer['perform']>[0]['apply'];

/** Where nothing but the deed is wanted. */
function done(act: (tables: Parameters<Apply>[0]) => void): Apply {
  return (tables) => {
    act(tables);
    return true;
  };
}

function commit(writer: Writer, { observations: entries, ...changes }: ChangeSet): void {
  const apply = done((tables) => tables.changes.apply(changes));
  const { durable } = writer.perform({ what: 'a change set', apply }, entries);
  if (durable) return;
  throw new RollcallError(
    'data-folder-unusable',
    `The record cannot be written: ${writer.trouble()}. The change waits in memory.`,
  );
}

interface Asked {
  readonly serviceId: string;
  readonly range: Range;
  readonly countMax: number;
}

function observations(writer: Writer, { serviceId, range, countMax }: Asked): Observation[] {
  const queued = writer.queue
    .observationsOf(serviceId)
    .filter(({ at }) => at >= range.from && at < range.to);
  const stored = writer.tail.read(serviceId, range, countMax);
  // The sort is stable: what was written first comes first where two have the same instant.
  const inOrder = [...stored, ...queued].sort((one, other) => one.at - other.at);
  return [...newestOf(inOrder, countMax)];
}

function notYet(what: string): never {
  throw new Error(`${what} is not there yet`);
}

function healthOf(writer: Writer, path: string): RecordHealth {
  const trouble = writer.trouble();
  return {
    writable: trouble === null,
    trouble: trouble === null ? null : `The record cannot be written: ${trouble}.`,
    queuedCount: writer.queue.count(),
    droppedCount: writer.queue.droppedCount(),
    sizeBytes: sizeBytesOf(path),
    lastCommitAt: writer.lastCommitAt(),
    damage: null,
  };
}

/** Every `groupCommitMs` until cancelled. */
function repeated(clock: Clock, act: () => void): Alarm {
  let alarm = clock.after(groupCommitMs, again);
  function again(): void {
    alarm = clock.after(groupCommitMs, again);
    act();
  }
  return { cancel: () => alarm.cancel() };
}
