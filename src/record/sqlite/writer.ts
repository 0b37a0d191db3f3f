/**
 * The one place that writes. All that waits goes in one transaction; where that fails for reasons of the disk it keeps
 * waiting, in order, the stand-in takes over, and every flush tries again. Only a flush: a full disk is not asked
 * anew with every change.
 */
import type { Database } from 'better-sqlite3';
import type { Clock } from '../../base/clock.ts';
import { messageOf } from '../../base/errors.ts';
import type { Log } from '../../base/log.ts';
import type { ObservationEntry, Pulse } from '../record.ts';
import { troubleWith } from './failures.ts';
import type { Migration } from './migrate.ts';
import { createQueue, type Queue, type Task } from './queue.ts';
import { standInFor } from './stand-in.ts';
import { type Tables, tablesOf } from './tables.ts';
import { type Tail, tailOf } from './tail.ts';

export interface WriterGiven {
  readonly database: Database;
  readonly migrations: readonly Migration[];
  readonly clock: Clock;
  readonly log: Log;
  /** The pulse of this moment, for writes that are not given one. */
  readonly pulse: () => Pulse;
}

interface Performed {
  readonly value: boolean;
  /** False: it is done in the stand-in only, and waits. */
  readonly durable: boolean;
}

export interface Writer {
  readonly queue: Queue;
  readonly tail: Tail;
  /** What reads go to. */
  tables(): Tables;
  /** Does the task, with all that waits, and says what came of it. Throws where the task itself is wrong. */
  perform(task: Task, observations?: readonly ObservationEntry[]): Performed;
  /** Writes what waits, or tries to. */
  flush(pulse: Pulse): void;
  /** Null: it can be written. */
  trouble(): string | null;
  lastCommitAt(): number | null;
  /** Closes the database; what could not be written is lost. */
  close(): void;
}

interface State {
  readonly given: WriterGiven;
  readonly queue: Queue;
  readonly tail: Tail;
  readonly main: Tables;
  /** While the record cannot be written. */
  holding: { readonly standIn: Tables; readonly trouble: string } | null;
  lastCommitAt: number | null;
}

/** What came of a task: its value, or what it threw. */
type Result = { readonly value: boolean } | { readonly defect: unknown };
type Results = ReadonlyMap<Task, Result>;
/** What came of all that waited; or who stands in, because for reasons of the disk nothing of it was written. */
type Written = { readonly results: Results } | { readonly standIn: Tables };

export function createWriter(given: WriterGiven): Writer {
  const main = tablesOf(given.database, given.log);
  const state: State = {
    given,
    main,
    queue: createQueue(),
    tail: tailOf(given.database, main.keys),
    holding: null,
    lastCommitAt: null,
  };
  return {
    queue: state.queue,
    tail: state.tail,
    tables: () => state.holding?.standIn ?? main,
    perform: (task, observations = []) => perform(state, task, observations),
    flush: (pulse) => void write(state, pulse),
    trouble: () => state.holding?.trouble ?? null,
    lastCommitAt: () => state.lastCommitAt,
    close: () => {
      if (state.holding) {
        given.log.error({ lostCount: state.queue.count() }, 'what waited for the record is lost');
      }
      state.holding?.standIn.database.close();
      given.database.close();
    },
  };
}

function perform(state: State, task: Task, observations: readonly ObservationEntry[]): Performed {
  state.queue.add(task, observations);
  const outcome = state.holding ?? write(state, state.given.pulse());
  if ('results' in outcome) return { value: valueFrom(outcome.results.get(task)), durable: true };
  const result = tried(outcome.standIn, task);
  if ('defect' in result) state.queue.remove(task);
  return { value: valueFrom(result), durable: false };
}

function valueFrom(result: Result | undefined): boolean {
  if (!result) throw new Error('A task was not done.');
  if ('defect' in result) throw result.defect;
  return result.value;
}

/** All that waits, in one transaction. */
function write(state: State, pulse: Pulse): Written {
  const { given, main, queue, tail } = state;
  const results = new Map<Task, Result>();
  try {
    given.database
      .transaction(() => {
        for (const entry of queue.entries()) append(state, entry);
        tail.save();
        for (const task of [...queue.tasks(), leave(pulse)]) results.set(task, tried(main, task));
      })
      .immediate();
  } catch (thrown) {
    tail.settle(false);
    main.keys.forget();
    const trouble = troubleWith(thrown);
    if (trouble === null) throw thrown;
    return { standIn: wait(state, trouble, pulse) };
  }
  tail.settle(true);
  settle(state, results);
  return { results };
}

/** A row that the engine refuses for what is in it is a probe's defect: it must not keep the others out. */
function append({ tail, given }: State, entry: ObservationEntry): void {
  try {
    tail.add(entry);
  } catch (thrown) {
    if (troubleWith(thrown) !== null) throw thrown;
    given.log.error(
      { service: entry.serviceId, error: messageOf(thrown) },
      'an observation is not fit for the record',
    );
  }
}

/** In a transaction of its own, or in a part of the running one that is undone alone. */
function tried(tables: Tables, task: Task): Result {
  try {
    return { value: tables.database.transaction(() => task.apply(tables))() };
  } catch (thrown) {
    if (troubleWith(thrown) !== null) throw thrown;
    tables.keys.forget();
    return { defect: thrown };
  }
}

function leave(pulse: Pulse): Task {
  return {
    what: 'the pulse',
    apply: ({ changes }) => {
      changes.pulse(pulse);
      return true;
    },
  };
}

function settle(state: State, results: Results): void {
  const { given, queue, holding } = state;
  for (const [{ what }, result] of results) {
    if (!('defect' in result)) continue;
    given.log.error(
      { what, error: messageOf(result.defect) },
      'something is not fit for the record',
    );
  }
  if (holding) {
    given.log.info(
      { writtenCount: queue.count(), droppedCount: queue.droppedCount() },
      'the record can be written again',
    );
    holding.standIn.database.close();
    state.holding = null;
  }
  queue.clear();
  state.lastCommitAt = given.clock.wallMs();
}

/** From now on, or still. */
function wait(state: State, trouble: string, pulse: Pulse): Tables {
  const { database, migrations, log } = state.given;
  if (!state.holding) {
    log.error({ trouble }, 'the record cannot be written; what is new waits in memory');
  }
  const standIn = state.holding?.standIn ?? standInFor({ record: database, migrations, log });
  state.holding = { standIn, trouble };
  tried(standIn, leave(pulse));
  return standIn;
}
