/** What seals a record and what reads it, on a file of its own; the work of the thread can be cut off amid a job. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { type Log, silentLog } from '../../../src/base/log.ts';
import type { Observation } from '../../../src/base/values.ts';
import { type History, historyOf } from '../../../src/record/sqlite/history.ts';
import { migrate, readMigrations } from '../../../src/record/sqlite/migrate.ts';
import { type Sealing, sealingOf } from '../../../src/record/sqlite/sealing.ts';
import { type Store, storeOn } from '../../../src/record/sqlite/store.ts';
import { pageBytes } from '../../../src/record/sqlite/volumes.ts';
import { createWorkshop } from '../../../src/record/sqlite/workshop.ts';
import { simulatedClock } from '../../support/clock-simulated.ts';

export interface SealedRecord extends History {
  readonly database: Database.Database;
  readonly store: Store;
  readonly sealing: Sealing;
  /** Writes these, as one group. */
  write(
    entries: readonly { readonly serviceId: string; readonly observation: Observation }[],
  ): void;
  /** The next job dies when it has handed over so many batches; the last of them is not taken any more. */
  cutAfter(batchesCount: number): void;
  close(): void;
}

export interface SealedGiven {
  /** With more rows the tail becomes chunks. */
  readonly rowsMax: number;
  readonly log?: Log;
  /** Before a batch is written. */
  readonly handedOver?: () => void;
  /** Before each statement. */
  readonly stated?: () => void;
}

export function openSealed(path: string, given: SealedGiven): SealedRecord {
  const { rowsMax, log = silentLog, handedOver = () => {}, stated } = given;
  const database = new Database(path, stated ? { verbose: stated } : {});
  database.pragma(`page_size = ${pageBytes}`);
  database.pragma('journal_mode = WAL');
  // Nothing here is about power cuts.
  database.pragma('synchronous = OFF');
  migrate(database, readMigrations());
  const store = storeOn(database, log);
  const workshop = createWorkshop({ mode: 'inline', clock: simulatedClock({ wallMs: 0 }) });
  let left = Number.POSITIVE_INFINITY;
  const sealing = sealingOf({
    store: () => store,
    workshop: {
      run: (job, take = () => {}) =>
        workshop.run(job, (batch) => {
          if (--left < 0) throw new Error('cut off');
          handedOver();
          return take(batch);
        }),
    },
    log,
    rowsMax,
  });
  return {
    database,
    store,
    sealing,
    ...historyOf({ store: () => store, queue: { observationsOf: () => [] } }),
    write: (entries) => {
      database.transaction(() => entries.forEach(store.tail.add))();
      store.tail.settle(true);
    },
    cutAfter: (batchesCount) => {
      left = batchesCount;
    },
    close: () => void database.close(),
  };
}

export function temporaryRecord(): { readonly path: string; end(): void } {
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-sealing-'));
  const end = () => rmSync(folder, { recursive: true, force: true });
  return { path: join(folder, 'rollcall.db'), end };
}
