/** A SQLite record in a folder of its own, under a simulated clock. */
import { randomUUID } from 'node:crypto';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import Database from 'better-sqlite3';
import { type Log, silentLog } from '../../../src/base/log.ts';
import type { Record } from '../../../src/record/record.ts';
import { recordOn } from '../../../src/record/sqlite/engine.ts';
import { migrate, readMigrations } from '../../../src/record/sqlite/migrate.ts';
import { configure, openRecord } from '../../../src/record/sqlite/open.ts';
import { simulatedClock } from '../../support/clock-simulated.ts';
import type { OpenedRecord } from '../../support/record-contract.ts';
import { pulse, t0 } from './values.ts';

export function temporaryFolder(): { readonly folder: string; end(): void } {
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-record-'));
  return { folder, end: () => rmSync(folder, { recursive: true, force: true }) };
}

export interface OpenedSqlite extends OpenedRecord {
  readonly folder: string;
  readonly path: string;
  /** Lets this much time pass on the record's clock. */
  advance(byMs: number): Promise<void>;
}

export async function openSqlite(log: Log = silentLog): Promise<OpenedSqlite> {
  const { folder, end } = temporaryFolder();
  const clock = simulatedClock({ wallMs: t0 });
  const open = () =>
    openRecord({
      folder,
      clock,
      log,
      newId: randomUUID,
      pulse: () => pulse(clock.wallMs()),
      upkeep: 'inline',
    });
  let record = await open();
  return {
    record,
    folder,
    path: join(folder, 'rollcall.db'),
    advance: (byMs) => clock.advance(byMs),
    reopen: async () => {
      await record.close(pulse(clock.wallMs()));
      record = await open();
      return record;
    },
    end: async () => {
      await record.close(pulse(clock.wallMs()));
      end();
    },
  };
}

export interface OpenedEngine {
  readonly record: Record;
  readonly database: Database.Database;
  /** Messages of errors and news that were logged. */
  readonly said: readonly string[];
  advance(byMs: number): Promise<void>;
}

/** An engine on a connection that the test holds as well, to make it fail. */
export function openEngine(folder: string): OpenedEngine {
  const database = new Database(join(folder, 'rollcall.db'));
  const migrations = readMigrations();
  configure(database);
  migrate(database, migrations);
  const clock = simulatedClock({ wallMs: t0 });
  const said: string[] = [];
  const log: Log = {
    ...silentLog,
    info: (_, message) => void said.push(message),
    error: (_, message) => void said.push(message),
  };
  const record = recordOn({
    path: database.name,
    file: { database },
    first: null,
    backups: () => [],
    open: () => {
      throw new Error('This engine is on a connection of the test.');
    },
    relock: () => {},
    migrations,
    instanceId: randomUUID(),
    clock,
    log,
    pulse: () => pulse(clock.wallMs()),
    upkeep: 'inline',
    closed: () => {},
  });
  return { record, database, said, advance: (byMs) => clock.advance(byMs) };
}
