/** The Record port on one SQLite database: each call handed to the part that does it, and the timer of the groups. */
import { dirname } from 'node:path';
import type { Database } from 'better-sqlite3';
import { type Alarm, type Clock, within } from '../../base/clock.ts';
import { RollcallError } from '../../base/errors.ts';
import { groupCommitMs, stopGraceMs } from '../../base/limits.ts';
import type { Log } from '../../base/log.ts';
import type { ChangeSet, Pulse, Record } from '../record.ts';
import { type Damage, damageFrom, damageWords, stillSaid } from './damage.ts';
import { isDamage, troubleWith } from './failures.ts';
import { healthOf } from './health.ts';
import { historyOf } from './history.ts';
import { type Errand, keeperOf } from './keeper.ts';
import { type Kept, keptWith } from './kept.ts';
import type { Migration } from './migrate.ts';
import { sealingOf } from './sealing.ts';
import { upkeepOf } from './upkeep.ts';
import { createWorkshop } from './workshop.ts';
import { createWriter, type Moored, type Writer } from './writer.ts';

export interface EngineGiven {
  /** Of the database, also while that cannot be used. */
  readonly path: string;
  /** In the newest shape; or what stands in for it. */
  readonly file: Moored;
  /** What is to be done before there is a file; null where there is. */
  readonly first: Errand | null;
  readonly migrations: readonly Migration[];
  readonly instanceId: string;
  readonly clock: Clock;
  readonly log: Log;
  readonly pulse: () => Pulse;
  /** Where the housework is done that takes long: in a process of its own, or, under a simulated clock, where it is called. */
  readonly upkeep: 'beside' | 'inline';
  /** Paths, the newest first. */
  readonly backups: () => readonly string[];
  /** Opens what lies at the path, in the newest shape. */
  readonly open: () => Database;
  /** Holds the folder anew where it was made anew. */
  readonly relock: () => void;
  /** After the database was closed. */
  readonly closed: () => void;
}

export function recordOn(given: EngineGiven): Record {
  const { clock, log, pulse, path, instanceId } = given;
  const workshop = createWorkshop({ mode: given.upkeep, clock });
  // Apart: where the disk for backups does not answer any more, nothing else waits behind that.
  const courier = createWorkshop({ mode: given.upkeep, clock });
  const writer = createWriter({
    ...given,
    damaged: (trouble) => replace(`SQLite says: ${trouble}.`),
  });
  const kept = keptWith(writer);
  const damage = damageKept(kept, dirname(path));
  const keeper = keeperOf({ ...given, writer, workshop, told: damage.tell }, given.first);
  const replace = (found: string): void => keeper.replace(found);
  const sealing = sealingOf({ store: writer.store, workshop, log });
  const flush = (at: Pulse): void => {
    keeper.mind();
    writer.flush(at);
  };
  const timer = repeated(clock, () => {
    flush(pulse());
    if (writer.trouble() === null) void sealing.lookAfter();
  });
  if (given.first) keeper.mind();
  const revision = revisionOf(writer);

  return {
    instanceId,
    ...written({ writer, kept, flush, changed: revision.changed }),
    ...guarded({ ...read(writer, kept), ...historyOf(writer), ...outboxOf(writer) }, replace),
    upkeep: upkeepOf({
      ...given,
      writer,
      workshop,
      courier,
      sealing,
      flush: () => flush(pulse()),
      replace,
    }),
    revision: revision.now,
    health: () => healthOf(writer, path, damage.said()),
    close: async (last) => {
      if (!writer.isOpen()) return;
      timer.cancel();
      await within(clock, closeWaitMs, keeper.idle());
      keeper.stop();
      sealing.stop();
      await within(clock, stopGraceMs, Promise.all([workshop.close(), courier.close()]));
      writer.flush(last);
      writer.close();
      given.closed();
    },
  };
}

/** So long a new file is waited for at the end: without one, what waits in memory would be lost. */
const closeWaitMs = 8_000;

/** Where the file turns out to be damaged amid a read, what stands in for it answers. */
function guarded<Reads extends object>(reads: Reads, replace: (found: string) => void): Reads {
  type Method = (...given: readonly unknown[]) => Promise<unknown>;
  const guard =
    (method: Method): Method =>
    async (...args) => {
      try {
        return await method(...args);
      } catch (thrown) {
        if (!isDamage(thrown)) throw thrown;
        replace(`SQLite says: ${troubleWith(thrown)}.`);
        return await method(...args);
      }
    };
  const entries = Object.entries<Method>(reads as { readonly [name: string]: Method });
  return Object.fromEntries(entries.map(([name, method]) => [name, guard(method)])) as Reads;
}

const damageName = 'record:damage';

/** What was found last, and what became of it: kept with the record, so that a restart does not silence it. */
function damageKept(kept: Kept, folder: string) {
  let damage = damageFrom(kept.words(damageName));
  return {
    said: () => stillSaid(damage, folder),
    tell: (told: Damage): void => {
      damage = told;
      kept.keep(damageName, damageWords(told));
    },
  };
}

type Written = 'observe' | 'commit' | 'flush' | 'disturbed' | 'note' | 'keep';

interface WrittenGiven {
  readonly writer: Writer;
  readonly kept: Kept;
  readonly flush: (pulse: Pulse) => void;
  readonly changed: (changes: ChangeSet) => void;
}

function written({ writer, kept, flush, changed }: WrittenGiven): Pick<Record, Written> {
  const mustBeOpen = (): void => {
    if (!writer.isOpen()) throw new Error('The record is closed.');
  };
  return {
    observe: async (entry) => {
      mustBeOpen();
      writer.queue.observe(entry);
    },
    commit: async (changes) => {
      for (const { name, words } of changes.keeps ?? []) kept.knows(name, words);
      // Also of one that waits: it is read as if it were written.
      changed(changes);
      commit(writer, changes);
    },
    flush: async (pulse) => flush(pulse),
    disturbed: async (disturbance) => {
      const apply = done(({ changes }) => changes.disturbed(disturbance));
      writer.perform({ what: 'a disturbance', apply });
    },
    note: async (outageId, note) => {
      const apply = done(({ changes }) => changes.note(outageId, note));
      writer.perform({ what: 'a note', apply });
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
  | 'notes'
  | 'planned'
  | 'knownAt'
  | 'runs'
  | 'run'
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
    notes: async (outageId) => queries().notes(outageId),
    planned: async (range) => queries().planned(range),
    knownAt: async (outageId) => queries().knownAt(outageId),
    runs: async (jobId, range, countMax) => queries().runs(jobId, range, countMax),
    run: async (jobId, id) => queries().run(jobId, id),
    kept: async (name) => kept.words(name),
  };
}

type Outbox =
  | 'dueDeliveries'
  | 'nextDeliveryAt'
  | 'claim'
  | 'attempted'
  | 'deliveriesOf'
  | 'deadLetters'
  | 'undelivered'
  | 'delivery';

function outboxOf(writer: Writer): Pick<Record, Outbox> {
  const outbox = () => writer.tables().outbox;
  return {
    dueDeliveries: async (now, countMax, quiet = []) => outbox().due(now, countMax, quiet),
    nextDeliveryAt: async (quiet = []) => outbox().nextAt(quiet),
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
    undelivered: async (channel, deadSince) => outbox().undelivered(channel, deadSince),
    delivery: async (noticeId, channel) => outbox().delivery(noticeId, channel),
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

/** Counts what may make another answer of what was read; see the port. */
function revisionOf(writer: Writer) {
  let count = 0;
  let tables = writer.tables();
  return {
    changed: ({ spans, outages, unconfirmed, planned = [] }: ChangeSet): void => {
      if (spans.length + outages.length + unconfirmed.length + planned.length > 0) count++;
    },
    now: (): number => {
      const those = writer.tables();
      if (those !== tables) count++;
      tables = those;
      return count + writer.queue.droppedCount();
    },
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
