/** Where the simulated daemon keeps its record: in plain memory, or in a real database in a folder of its own. */
import { cpSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Clock } from '../../src/base/clock.ts';
import { groupCommitMs } from '../../src/base/limits.ts';
import { silentLog } from '../../src/base/log.ts';
import type { Observation } from '../../src/base/values.ts';
import type { ObservationEntry, Pulse, Record } from '../../src/record/record.ts';
import { openRecord } from '../../src/record/sqlite/open.ts';
import { type MemoryRecord, memoryRecord } from '../support/record-memory.ts';

export interface Shelf {
  /** For one life of the daemon; the one before has closed its record, or was cut off. */
  open(clock: Clock): Promise<Record>;
  /** The process is gone: what it had not written yet is lost. */
  cutOff(): Promise<void>;
  /** Writes fail from now on; null: they work again. */
  breakWrites(trouble: string | null): void;
  end(): void;
}

export interface MemoryShelf extends Shelf {
  readonly kept: MemoryRecord;
  /** What was asked and answered and lost. */
  readonly lost: ReadonlySet<Observation>;
}

/** A record in memory that writes routine observations in groups, as a real one does, so that they can be lost. */
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

/** The engine itself. Being cut off is a copy of its files as they lie there: what the next daemon finds. */
export function sqliteShelf(folderOf = tmpdir()): Shelf & { readonly folder: () => string } {
  const home = mkdtempSync(join(folderOf, 'rollcall-simulated-'));
  let lives = 0;
  let folder = join(home, 'data-0');
  let record: Record | null = null;
  return {
    folder: () => folder,
    open: async (clock) => {
      record = await openRecord({
        folder,
        clock,
        log: silentLog,
        newId: () => '5c2f0f0e-1111-4111-8111-111111111111',
        pulse: () => pulseOf(clock),
      });
      return record;
    },
    cutOff: async () => {
      const next = join(home, `data-${++lives}`);
      cpSync(folder, next, { recursive: true });
      // What it still writes goes where nobody looks any more.
      await record?.close({ wallMs: 0, bootMs: 0, bootId: '' });
      rmSync(folder, { recursive: true });
      folder = next;
    },
    breakWrites: () => {
      throw new Error('not in this world');
    },
    end: () => rmSync(home, { recursive: true, force: true }),
  };
}

export function pulseOf(clock: Clock): Pulse {
  return { wallMs: clock.wallMs(), bootMs: Math.round(clock.bootMs()), bootId: 'simulated' };
}
