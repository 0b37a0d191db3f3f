/**
 * The one place that writes. All that waits goes in one transaction; where that fails for reasons of the disk it keeps
 * waiting, in order, the stand-in takes over, and every flush tries again. Only a flush: a full disk is not asked
 * anew with every change. Where the file itself is lost, everything goes on in the stand-in until another one is there.
 */
import type { Database } from 'better-sqlite3';
import type { Clock } from '../../base/clock.ts';
import { messageOf } from '../../base/errors.ts';
import type { Log } from '../../base/log.ts';
import type { ObservationEntry, Pulse } from '../record.ts';
import { isDamage, troubleWith } from './failures.ts';
import type { Migration } from './migrate.ts';
import { createQueue, type Queue, type Task } from './queue.ts';
import { standInFor } from './stand-in.ts';
import { type Store, storeOn } from './store.ts';
import type { Tables } from './tables.ts';

export interface WriterGiven {
  readonly file: Moored;
  readonly migrations: readonly Migration[];
  readonly clock: Clock;
  readonly log: Log;
  /** The pulse of this moment, for writes that are not given one. */
  readonly pulse: () => Pulse;
  /** The file turned out to be damaged amid the work: it is to be put aside, and another one attached. */
  readonly damaged: (trouble: string) => void;
}

/** What the writer stands on at first: a file, or, where that cannot be used yet, what is known of it. */
export type Moored =
  | { readonly database: Database }
  | { readonly standIn: Store; readonly trouble: string };

interface Performed {
  readonly value: boolean;
  /** False: it is done in the stand-in only, and waits. */
  readonly durable: boolean;
}

export interface Writer {
  readonly queue: Queue;
  /** What stands on the file; while that is lost, an empty one in memory. */
  store(): Store;
  /** What reads of all but the observations go to. */
  tables(): Tables;
  /** Does the task, with all that waits, and says what came of it. Throws where the task itself is wrong. */
  perform(task: Task, observations?: readonly ObservationEntry[]): Performed;
  /** Writes what waits, or tries to. */
  flush(pulse: Pulse): void;
  /** Null: it can be written. */
  trouble(): string | null;
  lastCommitAt(): number | null;
  /** Nothing is tried until `resume`: everything waits, and reads of observations still go to the file. */
  hold(trouble: string): void;
  resume(): void;
  /** As `hold`, and the file is not touched any more. */
  detach(trouble: string): void;
  /** When detached: closes the connection to the file. */
  letGo(): void;
  /** This connection takes the place of the one before. What waits is written with the next flush. */
  attach(database: Database): void;
  isOpen(): boolean;
  /** Closes the database; what could not be written is lost. */
  close(): void;
}

interface Holding {
  readonly standIn: Store;
  readonly trouble: string;
  /** What becomes of a flush: it is tried; it is not; there is nothing to try it on. */
  readonly way: 'tried' | 'held' | 'detached';
}

interface State {
  readonly given: WriterGiven;
  readonly queue: Queue;
  store: Store;
  /** While the record cannot be written. */
  holding: Holding | null;
  lastCommitAt: number | null;
  open: boolean;
}

/** What came of a task: its value, or what it threw. */
type Result = { readonly value: boolean } | { readonly defect: unknown };
type Results = ReadonlyMap<Task, Result>;
/** What came of all that waited; or who stands in, because for reasons of the disk nothing of it was written. */
type Written = { readonly results: Results } | { readonly standIn: Store };

export function createWriter(given: WriterGiven): Writer {
  const { file, log } = given;
  const state: State = {
    given,
    queue: createQueue(),
    store: 'database' in file ? storeOn(file.database, log) : file.standIn,
    holding: 'database' in file ? null : { ...file, way: 'detached' },
    lastCommitAt: null,
    open: true,
  };
  return {
    queue: state.queue,
    store: () => storeOf(state),
    tables: () => (state.holding?.standIn ?? state.store).tables,
    perform: (task, observations = []) => perform(state, task, observations),
    flush: (pulse) => flush(state, pulse),
    trouble: () => state.holding?.trouble ?? null,
    lastCommitAt: () => state.lastCommitAt,
    ...mooring(state),
    isOpen: () => state.open,
    close: () => close(state),
  };
}

function storeOf({ holding, store }: State): Store {
  return holding?.way === 'detached' ? holding.standIn : store;
}

/** What ties the writer to a file. */
function mooring(state: State) {
  const wait = (trouble: string, way: Holding['way']): void => {
    state.holding = { ...held(state, trouble), trouble, way };
  };
  return {
    hold: (trouble) => wait(trouble, 'held'),
    resume: () => {
      if (state.holding) state.holding = { ...state.holding, way: 'tried' };
    },
    detach: (trouble) => wait(trouble, 'detached'),
    letGo: () => {
      if (state.store !== state.holding?.standIn) state.store.database.close();
    },
    attach: (database) => {
      state.store = storeOn(database, state.given.log);
      if (state.holding) state.holding = { ...state.holding, way: 'tried' };
    },
  } satisfies Partial<Writer>;
}

function flush(state: State, pulse: Pulse): void {
  if (!state.open) throw new Error('The record is closed.');
  if (state.holding && state.holding.way !== 'tried') tried(state.holding.standIn, leave(pulse));
  else write(state, pulse);
}

function close(state: State): void {
  const { holding, store, given, queue } = state;
  state.open = false;
  if (holding) given.log.error({ lostCount: queue.count() }, 'what waited for the record is lost');
  holding?.standIn.database.close();
  store.database.close();
}

function perform(state: State, task: Task, observations: readonly ObservationEntry[]): Performed {
  if (!state.open) throw new Error('The record is closed.');
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
  const { queue, store } = state;
  const results = new Map<Task, Result>();
  try {
    store.database
      .transaction(() => {
        for (const entry of queue.entries()) append(state, entry);
        for (const task of [...queue.tasks(), leave(pulse)]) results.set(task, tried(store, task));
      })
      .immediate();
  } catch (thrown) {
    store.tail.settle(false);
    store.tables.keys.forget();
    const trouble = troubleWith(thrown);
    if (trouble === null) throw thrown;
    const standIn = wait(state, trouble, pulse);
    if (isDamage(thrown)) state.given.damaged(trouble);
    return { standIn };
  }
  store.tail.settle(true);
  settle(state, results);
  return { results };
}

/** A row that the engine refuses for what is in it is a probe's defect: it must not keep the others out. */
function append({ store, given }: State, entry: ObservationEntry): void {
  try {
    store.tail.add(entry);
  } catch (thrown) {
    if (troubleWith(thrown) !== null) throw thrown;
    given.log.error(
      { service: entry.serviceId, error: messageOf(thrown) },
      'an observation is not fit for the record',
    );
  }
}

/** In a transaction of its own, or in a part of the running one that is undone alone. */
function tried({ tables, database }: Store, task: Task): Result {
  try {
    return { value: database.transaction(() => task.apply(tables))() };
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
function wait(state: State, trouble: string, pulse: Pulse): Store {
  state.holding = held(state, trouble);
  tried(state.holding.standIn, leave(pulse));
  return state.holding.standIn;
}

function held({ given, store, holding }: State, trouble: string): Holding {
  if (holding) return { ...holding, trouble };
  const { migrations, log } = given;
  log.error({ trouble }, 'the record cannot be written; what is new waits in memory');
  return {
    standIn: standInFor({ record: store.database, migrations, log }),
    trouble,
    way: 'tried',
  };
}
