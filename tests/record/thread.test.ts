/** Jobs beside the daemon: what they make, what they throw, and what becomes of a thread that is lost. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { migrate, readMigrations } from '../../src/record/sqlite/migrate.ts';
import { createWorkshop, type Workshop } from '../../src/record/sqlite/thread.ts';
import { simulatedClock } from '../support/clock-simulated.ts';
import { temporaryFolder } from './support/sqlite.ts';
import { t0 } from './support/values.ts';

let root: ReturnType<typeof temporaryFolder>;
let path: string;
let workshop: Workshop | null = null;
beforeEach(() => {
  root = temporaryFolder();
  path = join(root.folder, 'some.db');
  const database = new Database(path);
  migrate(database, readMigrations());
  database.close();
});
afterEach(async () => {
  await workshop?.close();
  root.end();
});

const clock = simulatedClock({ wallMs: t0 });

describe.each(['thread', 'inline'] as const)('a job (%s)', (mode) => {
  beforeEach(() => {
    workshop = createWorkshop({ mode, clock });
  });

  test('is done on the database that it names', async () => {
    expect(await workshop?.run({ kind: 'verify', path })).toMatchObject({ faults: [] });
  });

  test('that cannot be done rejects with what the engine said', async () => {
    writeFileSync(path, 'no database at all, but a long letter. '.repeat(50));
    const failed = workshop?.run({ kind: 'verify', path });
    await expect(failed).rejects.toBeInstanceOf(Database.SqliteError);
    await expect(failed).rejects.toMatchObject({ code: 'SQLITE_NOTADB' });
  });

  test('is refused once the workshop is closed', async () => {
    await workshop?.close();
    await expect(workshop?.run({ kind: 'verify', path })).rejects.toMatchObject({
      code: 'upkeep-failed',
    });
  });
});

/** A thread that does as the test says in place of a job. */
function threadThat(does: string): Workshop {
  const file = join(root.folder, 'worker.mjs');
  writeFileSync(
    file,
    `import { parentPort } from 'node:worker_threads';
     import { existsSync, writeFileSync } from 'node:fs';
     const first = !existsSync('${root.folder}/began');
     writeFileSync('${root.folder}/began', '');
     const say = (word) => parentPort.postMessage(word);
     parentPort.on('message', (order) => { ${does} });`,
  );
  workshop = createWorkshop({ mode: 'thread', clock, file: pathToFileURL(file) });
  return workshop;
}

const works = `say({ kind: 'done', result: { faults: ['a new thread'] } });`;

test.each([
  ['throws', `throw new Error('a defect');`],
  ['exits', `process.exit(7);`],
  ['runs out of memory', `const all = []; for (;;) all.push(new Array(1e5).fill(all.length));`],
])(
  'a thread that %s fails its job, and the next job gets a new one',
  async (_, dies) => {
    const shop = threadThat(`if (first) { ${dies} } else { ${works} }`);
    const job = { kind: 'verify', path } as const;
    await expect(shop.run(job)).rejects.toMatchObject({ code: 'upkeep-failed' });
    expect(await shop.run(job)).toEqual({ faults: ['a new thread'] });
  },
  60_000,
);

test('the thread waits until a batch was taken', async () => {
  const shop = threadThat(
    `globalThis.count = (globalThis.count ?? 0) + 1;
     if (globalThis.count < 4) say({ kind: 'batch', batch: globalThis.count });
     else say({ kind: 'done', result: { faults: [] } });`,
  );
  const taken: unknown[] = [];
  let busy = 0;
  await shop.run({ kind: 'verify', path }, async (batch: unknown) => {
    busy++;
    expect(busy).toBe(1);
    await new Promise((resolve) => setImmediate(resolve));
    taken.push(batch);
    busy--;
  });
  expect(taken).toEqual([1, 2, 3]);
});

test('a batch that cannot be taken ends the job with what was thrown', async () => {
  const shop = threadThat(`if (first) say({ kind: 'batch', batch: 1 }); else { ${works} }`);
  const job = { kind: 'verify', path } as const;
  const refuse = () => {
    throw new Error('no room');
  };
  await expect(shop.run(job, refuse)).rejects.toThrow('no room');
  expect(await shop.run(job)).toEqual({ faults: ['a new thread'] });
});

test('closing cuts a running job off', async () => {
  const shop = threadThat('');
  const running = shop.run({ kind: 'verify', path });
  const refused = expect(running).rejects.toMatchObject({ code: 'upkeep-failed' });
  await new Promise((resolve) => setImmediate(resolve));
  await shop.close();
  await refused;
});

test('an idle thread is ended, and another one started when there is work again', async () => {
  const shop = threadThat(
    `say({ kind: 'done', result: { faults: [first ? 'the first' : 'another'] } });`,
  );
  const job = { kind: 'verify', path } as const;
  expect(await shop.run(job)).toEqual({ faults: ['the first'] });
  expect(await shop.run(job)).toEqual({ faults: ['the first'] });
  await clock.advance(60_000);
  await expect.poll(() => shop.run(job)).toEqual({ faults: ['another'] });
});
