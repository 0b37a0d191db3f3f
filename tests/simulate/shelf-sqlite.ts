/** A real database in a folder of its own. */
import { cpSync, existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { silentLog } from '../../src/base/log.ts';
import type { Record } from '../../src/record/record.ts';
import { openRecord } from '../../src/record/sqlite/open.ts';
import { pulseOf, type Shelf } from './shelf.ts';

/** Each group that is written waits for the disk, and there would be a million of them in a year: so many in one. */
const groupsInOne = 60;

/** A file system in memory, where there is one: what is proved is the arithmetic, not the disk. */
const quickFolder = existsSync('/dev/shm') ? '/dev/shm' : tmpdir();

/** Being cut off is a copy of its files as they lie there: what the next daemon finds. */
export function sqliteShelf(folderOf = quickFolder): Shelf & { readonly folder: () => string } {
  const home = mkdtempSync(join(folderOf, 'rollcall-simulated-'));
  let lives = 0;
  let folder = join(home, 'data-0');
  let record: Record | null = null;
  return {
    folder: () => folder,
    open: async (clock) => {
      record = await openRecord({
        folder,
        clock: { ...clock, after: (delayMs, then) => clock.after(groupsInOne * delayMs, then) },
        log: silentLog,
        newId: () => '5c2f0f0e-1111-4111-8111-111111111111',
        pulse: () => pulseOf(clock),
        upkeep: 'inline',
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
