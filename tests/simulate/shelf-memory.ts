/** A record in memory that writes routine observations in groups, as a real one does, so that they can be lost. */
import type { Clock } from '../../src/base/clock.ts';
import { groupCommitMs } from '../../src/base/limits.ts';
import type { Observation } from '../../src/base/values.ts';
import type { ObservationEntry } from '../../src/record/record.ts';
import { type MemoryRecord, memoryRecord } from '../support/record-memory.ts';
import { pulseOf, type Shelf } from './shelf.ts';

export interface MemoryShelf extends Shelf {
  readonly kept: MemoryRecord;
  /** What was asked and answered and lost. */
  readonly lost: ReadonlySet<Observation>;
}

export function memoryShelf(): MemoryShelf {
  const kept = memoryRecord();
  const lost = new Set<Observation>();
  let waiting: ObservationEntry[] = [];

  const write = async (): Promise<void> => {
    for (const entry of waiting.splice(0)) await kept.observe(entry);
  };
  const again = (clock: Clock): void => {
    clock.after(groupCommitMs, () => {
      again(clock);
      void write().then(() => kept.flush(pulseOf(clock)));
    });
  };
  return {
    kept,
    lost,
    open: async (clock) => {
      again(clock);
      return {
        ...kept,
        observe: async (entry) => void waiting.push(entry),
        commit: async (changes) => {
          await write();
          await kept.commit(changes);
        },
        flush: async (pulse) => {
          await write();
          await kept.flush(pulse);
        },
        close: async (pulse) => {
          await write();
          await kept.close(pulse);
        },
      };
    },
    cutOff: async () => {
      for (const { observation } of waiting) lost.add(observation);
      waiting = [];
    },
    breakWrites: (trouble) => kept.breakWrites(trouble),
    end: () => {},
  };
}
