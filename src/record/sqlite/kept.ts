/** The few words that probes keep: the newest in memory, where reads find them, and in the file with the next group. */
import type { Task } from './queue.ts';
import type { Writer } from './writer.ts';

export interface Kept {
  keep(name: string, words: string): void;
  /** They are written in another way. */
  knows(name: string, words: string): void;
  /** Null: nothing was kept under this name. */
  words(name: string): string | null;
}

export function keptWith(writer: Writer): Kept {
  const newest = new Map<string, string>();
  /** One for each name, so that words for a record that cannot be written do not pile up. */
  const tasks = new Map<string, Task>();

  const taskOf = (name: string): Task => ({
    what: 'something kept',
    apply: ({ changes }) => {
      changes.keep(name, newest.get(name) ?? '');
      return true;
    },
  });

  return {
    keep: (name, words) => {
      newest.set(name, words);
      const task = tasks.get(name) ?? taskOf(name);
      tasks.set(name, task);
      if (!writer.queue.tasks().includes(task)) writer.queue.add(task, []);
    },
    knows: (name, words) => void newest.set(name, words),
    words: (name) => newest.get(name) ?? writer.tables().queries.kept(name),
  };
}
