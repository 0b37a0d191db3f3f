/**
 * Sealing: rows of the tail become chunks, chunks become sealed days, and old days are forgotten. Each observation is in
 * exactly one of these places at any instant, also when the daemon is killed amid it: what is made is written, and what it
 * was made of is taken away, in one transaction. Every step can be done again.
 */

import type { Database } from 'better-sqlite3';
import { messageOf, RollcallError } from '../../base/errors.ts';
import { sealDelayMs, tailRowsMax, tailRowsPerServiceMax } from '../../base/limits.ts';
import type { Log } from '../../base/log.ts';
import { othersFirst } from '../../base/turns.ts';
import type { Upkeep } from '../upkeep.ts';
import { dayMs, dayOf } from './days.ts';
import { troubleWith } from './failures.ts';
import { sealingWrites } from './sealing-write.ts';
import type { Store } from './store.ts';
import type { Workshop } from './workshop.ts';

interface SealingGiven {
  readonly store: () => Store;
  readonly workshop: Pick<Workshop, 'run'>;
  readonly log: Log;
  /** Rows that the tail may have; else as `tailRowsMax` and `tailRowsPerServiceMax` say. At least 1. */
  readonly rowsMax?: number;
}

export interface Sealing extends Pick<Upkeep, 'seal' | 'prune'> {
  /** To be called now and then: makes chunks of the tail where it has grown long. Does not reject. */
  lookAfter(): Promise<void>;
  /** The record is about to be closed: nothing is begun any more, and what is cut off is nobody's fault. */
  stop(): void;
}

export function sealingOf(given: SealingGiven): Sealing {
  let turn: Promise<unknown> = Promise.resolve();
  let chunking = false;
  let said = false;
  let stopped = false;

  /** One after the other: what one of them reads the other must not take away. */
  const inTurn = <Value>(what: string, act: () => Promise<Value>): Promise<Value> => {
    const done = turn.then(act).catch((thrown: unknown) => {
      throw expected(thrown, what);
    });
    turn = done.catch(() => {});
    return done;
  };

  return {
    seal: (now) => inTurn('days could not be sealed', () => seal(given, now)),
    prune: (before) => inTurn('old days could not be forgotten', () => prune(given, before)),
    lookAfter: async () => {
      if (chunking || stopped || given.store().tail.count() <= rowsMax(given)) return;
      chunking = true;
      try {
        await inTurn('the newest observations could not be put away', () => chunk(given));
        said = false;
      } catch (thrown) {
        if (!said && !stopped)
          given.log.error({ error: messageOf(thrown) }, 'the record is not kept short');
        said = true;
      } finally {
        chunking = false;
      }
    },
    stop: () => {
      stopped = true;
    },
  };
}

function expected(thrown: unknown, what: string): unknown {
  const trouble = troubleWith(thrown);
  if (trouble === null) return thrown;
  return new RollcallError('upkeep-failed', `In the record ${what}: ${trouble}.`, {
    cause: thrown,
  });
}

function rowsMax({ store, rowsMax: given }: SealingGiven): number {
  return given ?? Math.max(tailRowsMax, tailRowsPerServiceMax * store().tail.servicesCount());
}

/** Rows of the tail that are deleted at one time, and sealed days that are. */
const clearedRows = 4_000;
const forgottenDays = 64;

async function chunk(given: SealingGiven): Promise<void> {
  const { store, workshop } = given;
  const { database, tail } = store();
  const writes = sealingWrites(database);
  const write = writerTo(store);
  const throughSeq = tail.lastSeq();
  const windowRows = 2 * rowsMax(given);
  const job = { kind: 'chunk', path: database.name, throughSeq, windowRows } as const;
  await workshop.run(job, (batch) => {
    write(() => writes.chunks(batch));
    tail.left(batch.moved);
  });
  const first = database.prepare<[], number | null>('SELECT min(seq) FROM tail').pluck().get();
  if (first === undefined || first === null) return;
  // Nothing came meanwhile, and it is not so much that it would take long: nearly always.
  if (tail.count() === 0 && throughSeq - first < 2 * tailRowsMax) {
    write(() => writes.clearAll());
    return;
  }
  for (let from = first; from <= throughSeq; from += clearedRows) {
    await othersFirst();
    write(() => writes.clear(from, Math.min(from + clearedRows - 1, throughSeq)));
  }
}

async function seal(given: SealingGiven, now: number): Promise<{ sealedDaysCount: number }> {
  const { database, tail } = given.store();
  const beforeDay = dayOf(now - sealDelayMs);
  if (tail.reachesBefore(beforeDay * dayMs)) await chunk(given);
  const writes = sealingWrites(database);
  const write = writerTo(given.store);
  let sealedDaysCount = 0;
  await given.workshop.run({ kind: 'seal', path: database.name, beforeDay }, (batch) => {
    write(() => writes.days(batch));
    sealedDaysCount += batch.days.length;
  });
  return { sealedDaysCount };
}

async function prune(
  { store }: SealingGiven,
  before: number,
): Promise<{ prunedDaysCount: number }> {
  const { database } = store();
  const { services, keys, facts } = pruneReads(database);
  const writes = sealingWrites(database);
  const write = writerTo(store);
  let prunedDaysCount = 0;
  for (const service of services.all()) {
    await othersFirst();
    const gone = keys.all(service, dayOf(before));
    if (gone.length === 0) continue;
    for (let from = 0; from < gone.length; from += forgottenDays) {
      write(() => gone.slice(from, from + forgottenDays).forEach(writes.forgetDay));
      await othersFirst();
    }
    prunedDaysCount += gone.length;
    const { least, first } = facts.get({ service }) ?? { least: null, first: null };
    if (first !== null && least !== null && first < least) {
      write(() => writes.forgetFacts(service, least));
    }
  }
  return { prunedDaysCount };
}

/** In a transaction; as long as no other file has taken the place of the one that the work began with. */
function writerTo(store: () => Store): (act: () => void) => void {
  const { database } = store();
  return (act) => {
    if (store().database !== database) {
      throw new RollcallError('upkeep-failed', 'The record was replaced amid its upkeep.');
    }
    database.transaction(act).immediate();
  };
}

interface FactNumbers {
  /** The least that an observation refers to; null: not known. */
  readonly least: number | null;
  /** The first that is there. */
  readonly first: number | null;
}

function pruneReads(database: Database) {
  return {
    services: database.prepare<[], number>('SELECT key FROM services ORDER BY key').pluck(),
    keys: database
      .prepare<[number, number], number>(
        'SELECT key FROM sealed_days WHERE service = ? AND day < ?',
      )
      .pluck(),
    // What is in the tail came after what has left it, and so refers to no lower number.
    facts: database.prepare<[{ service: number }], FactNumbers>(
      `SELECT (SELECT min(number) FROM facts WHERE service = :service) AS first,
         (SELECT min(number) FROM (
            SELECT min(least_facts) AS number FROM sealed_days WHERE service = :service
            UNION ALL SELECT min(least_facts) FROM chunks WHERE service = :service
            UNION ALL SELECT facts FROM moved WHERE service = :service)) AS least`,
    ),
  };
}
