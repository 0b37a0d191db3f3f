/** The Record port on one SQLite database: each call handed to the part that does it, and the timer of the groups. */
import type { Database } from 'better-sqlite3';
import type { Alarm, Clock } from '../../base/clock.ts';
import { RollcallError } from '../../base/errors.ts';
import { groupCommitMs } from '../../base/limits.ts';
import type { Log } from '../../base/log.ts';
import type { ChangeSet, Pulse, Record, RecordHealth } from '../record.ts';
import { sizeBytesOf } from './files.ts';
import { historyOf } from './history.ts';
import { type Kept, keptWith } from './kept.ts';
import type { Migration } from './migrate.ts';
import { sealingOf } from './sealing.ts';
import { createWorkshop } from './thread.ts';
import { createWriter, type Writer } from './writer.ts';

export interface EngineGiven {
  /** Connected, and in the newest shape. */
  readonly database: Database;
  readonly migrations: readonly Migration[];
  readonly instanceId: string;
  readonly clock: Clock;
  readonly log: Log;
  readonly pulse: () => Pulse;
  /** Where the housework is done that takes long: in a thread of its own, or, under a simulated clock, where it is called. */
  readonly upkeep: 'thread' | 'inline';
  /** After the database was closed. */
  readonly closed: () => void;
}

export function recordOn(given: EngineGiven): Record {
  const writer = createWriter(given);
  const kept = keptWith(writer);
  const workshop = createWorkshop({ mode: given.upkeep, clock: given.clock });
  const sealing = sealingOf({ store: writer.store, workshop, log: given.log });
  const timer = repeated(given.clock, () => {
    writer.flush(given.pulse());
    if (writer.trouble() === null) sealing.lookAfter();
  });

  return {
    instanceId: given.instanceId,
    ...written(writer, kept),
    ...read(writer, kept),
    ...historyOf(writer),
    ...outboxOf(writer),
    upkeep: {
      seal: async (now) => {
        writer.flush(given.pulse());
        return sealing.seal(now);
      },
      prune: sealing.prune,
      verify: async () => notYet('verifying'),
      backup: async () => notYet('backing up'),
    },
    health: () => healthOf(writer, given.database.name),
    close: async (pulse) => {
      if (!writer.isOpen()) return;
      timer.cancel();
      await workshop.close();
      writer.flush(pulse);
      writer.close();
      given.closed();
    },
  };
}

type Written = 'observe' | 'commit' | 'flush' | 'disturbed' | 'keep';

function written(writer: Writer, kept: Kept): Pick<Record, Written> {
  const mustBeOpen = (): void => {
    if (!writer.isOpen()) throw new Error('The record is closed.');
  };
  return {
    observe: async (entry) => {
      mustBeOpen();
      writer.queue.observe(entry);
    },
    commit: async (changes) => commit(writer, changes),
    flush: async (pulse) => writer.flush(pulse),
    disturbed: async (disturbance) => {
      const apply = done(({ changes }) => changes.disturbed(disturbance));
      writer.perform({ what: 'a disturbance', apply });
    },
    keep: async (name, words) => {
      mustBeOpen();
      kept.keep(name, words);
    },
  };
}

type Read =
  | 'remembered'
  | 'lastPulse'
  | 'spans'
  | 'outages'
  | 'outage'
  | 'unconfirmed'
  | 'disturbances'
  | 'kept';

function read(writer: Writer, kept: Kept): Pick<Record, Read> {
  const queries = () => writer.tables().queries;
  return {
    remembered: async (serviceId) => ({
      memory: queries().memory(serviceId),
      last: writer.queue.observationsOf(serviceId).at(-1) ?? writer.store().tail.newest(serviceId),
    }),
    lastPulse: async () => queries().pulse(),
    spans: async (serviceId, range) => queries().spans(serviceId, range),
    outages: async (serviceId, range, countMax = Number.POSITIVE_INFINITY) =>
      queries().outages(serviceId, range, countMax),
    outage: async (id) => queries().outage(id),
    unconfirmed: async (serviceId, range) => queries().unconfirmed(serviceId, range),
    disturbances: async (range) => queries().disturbances(range),
    kept: async (name) => kept.words(name),
  };
}

type Outbox =
  | 'dueDeliveries'
  | 'nextDeliveryAt'
  | 'claim'
  | 'attempted'
  | 'deliveriesOf'
  | 'deadLetters';

function outboxOf(writer: Writer): Pick<Record, Outbox> {
  const outbox = () => writer.tables().outbox;
  return {
    dueDeliveries: async (now, countMax) => outbox().due(now, countMax),
    nextDeliveryAt: async () => outbox().nextAt(),
    claim: async (noticeId, channel, at) => {
      const apply: Apply = ({ notices }) => notices.claim(noticeId, channel, at);
      return writer.perform({ what: 'a claim', apply }).value;
    },
    attempted: async (attempt) => {
      const apply: Apply = ({ notices }) => notices.attempted(attempt);
      writer.perform({ what: 'an attempt', apply });
    },
    deliveriesOf: async (outageId) => outbox().ofOutage(outageId),
    deadLetters: async (countMax) => outbox().dead(countMax),
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
