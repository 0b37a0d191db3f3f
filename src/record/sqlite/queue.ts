/**
 * What waits to be written: observations for the next group, and, while the record cannot be written, changes.
 * Bounded: the oldest routine observations give way first, and only when none is left the oldest changes.
 */
import { queuedObservationsCountMax } from '../../base/limits.ts';
import type { Observation } from '../../base/values.ts';
import type { ObservationEntry } from '../record.ts';
import type { Tables } from './tables.ts';

/** Something to be done in a transaction, more than once where the first one came to nothing. */
export interface Task {
  /** For the log: `a change set`. */
  readonly what: string;
  readonly apply: (tables: Tables) => boolean;
}

export interface Queue {
  observe(entry: ObservationEntry): void;
  /** A task with the observations that belong to it. */
  add(task: Task, observations: readonly ObservationEntry[]): void;
  remove(task: Task): void;
  /** All is written. */
  clear(): void;
  readonly entries: () => readonly ObservationEntry[];
  readonly tasks: () => readonly Task[];
  observationsOf(serviceId: string): readonly Observation[];
  count(): number;
  droppedCount(): number;
}

interface Waiting {
  readonly entry: ObservationEntry;
  readonly routine: boolean;
}

/** A change with its notices and memory takes about as much room as this many observations. */
const taskWeight = 16;

/** `weightMax`: in observations. */
export function createQueue(weightMax: number = queuedObservationsCountMax): Queue {
  let observations: Waiting[] = [];
  let tasks: Task[] = [];
  let droppedCount = 0;

  const bound = (): void => {
    const over = observations.length + tasks.length * taskWeight - weightMax;
    if (over <= 0) return;
    const before = observations.length + tasks.length;
    // One in a hundred more than needed: each time means a walk over the whole queue.
    observations = withoutOldest(observations, over + Math.floor(weightMax / 100));
    while (tasks.length > 1 && observations.length + tasks.length * taskWeight > weightMax) {
      tasks.shift();
    }
    droppedCount += before - observations.length - tasks.length;
  };

  return {
    observe: (entry) => {
      observations.push({ entry, routine: true });
      bound();
    },
    add: (task, entries) => {
      for (const entry of entries) observations.push({ entry, routine: false });
      tasks.push(task);
      bound();
    },
    remove: (task) => {
      tasks = tasks.filter((other) => other !== task);
    },
    clear: () => {
      observations = [];
      tasks = [];
    },
    entries: () => observations.map(({ entry }) => entry),
    tasks: () => tasks,
    observationsOf: (serviceId) =>
      observations
        .filter(({ entry }) => entry.serviceId === serviceId)
        .map(({ entry }) => entry.observation),
    count: () => observations.length + tasks.length,
    droppedCount: () => droppedCount,
  };
}

function withoutOldest(observations: readonly Waiting[], count: number): Waiting[] {
  let left = count;
  return observations.filter(({ routine }) => !routine || left-- <= 0);
}
