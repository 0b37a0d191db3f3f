/** Jobs beside the daemon: what they make, what they throw, and what becomes of a process or thread that is lost. */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import Database from 'better-sqlite3';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { processHand, threadHand } from '../../src/record/sqlite/hand.ts';
import { migrate, readMigrations } from '../../src/record/sqlite/migrate.ts';
import { createWorkshop, type Workshop } from '../../src/record/sqlite/workshop.ts';
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

const ways: readonly [string, () => Workshop][] = [
  ['process', () => createWorkshop({ mode: 'beside', clock, hire: processHand })],
  ['thread', () => createWorkshop({ mode: 'beside', clock, hire: threadHand })],
  ['inline', () => createWorkshop({ mode: 'inline', clock })],
];

describe.each(ways)('a job (%s)', (_, open) => {
  beforeEach(() => {
    workshop = open();
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

describe.each([
  ['process', processHand],
  ['thread', threadHand],
] as const)('a %s', (_, hire) => {
  /** One that does as the test says in place of a job. */
  function handThat(does: string): Workshop {
    const file = join(root.folder, 'worker.mjs');
    writeFileSync(
      file,
      `import { parentPort } from 'node:worker_threads';
     import { existsSync, writeFileSync } from 'node:fs';
     const first = !existsSync('${root.folder}/began');
     writeFileSync('${root.folder}/began', '');
     const say = (word) => (parentPort ? parentPort.postMessage(word) : process.send(word));
     (parentPort ?? process).on('message', (order) => { ${does} });
     if (!parentPort) process.on('disconnect', () => process.exit());`,
    );
    workshop = createWorkshop({ mode: 'beside', clock, file: pathToFileURL(file), hire });
    return workshop;
  }

  const works = `say({ kind: 'done', result: { faults: ['a new one'] } });`;

  test.each([
    ['throws', `throw new Error('a defect');`],
    ['exits', `process.exit(7);`],
    ['runs out of memory', `const all = []; for (;;) all.push(new Array(1e5).fill(all.length));`],
  ])(
    'that %s fails its job, and the next job gets a new one',
    async (_, dies) => {
      const shop = handThat(`if (first) { ${dies} } else { ${works} }`);
      const job = { kind: 'verify', path } as const;
      await expect(shop.run(job)).rejects.toMatchObject({ code: 'upkeep-failed' });
      expect(await shop.run(job)).toEqual({ faults: ['a new one'] });
    },
    60_000,
  );

  test('waits until a batch was taken', async () => {
    const shop = handThat(
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

  test('whose batch cannot be taken is ended, and the job with what was thrown', async () => {
    const shop = handThat(`if (first) say({ kind: 'batch', batch: 1 }); else { ${works} }`);
    const job = { kind: 'verify', path } as const;
    const refuse = () => {
      throw new Error('no room');
    };
    await expect(shop.run(job, refuse)).rejects.toThrow('no room');
    expect(await shop.run(job)).toEqual({ faults: ['a new one'] });
  });

  test('is cut off amid its job when the workshop is closed', async () => {
    const shop = handThat('');
    const running = shop.run({ kind: 'verify', path });
    const refused = expect(running).rejects.toMatchObject({ code: 'upkeep-failed' });
    await new Promise((resolve) => setImmediate(resolve));
    await shop.close();
    await refused;
  });

  test('that is idle is ended, and another one started when there is work again', async () => {
    const shop = handThat(
      `say({ kind: 'done', result: { faults: [first ? 'the first' : 'another'] } });`,
    );
    const job = { kind: 'verify', path } as const;
    expect(await shop.run(job)).toEqual({ faults: ['the first'] });
    expect(await shop.run(job)).toEqual({ faults: ['the first'] });
    await clock.advance(60_000);
    await expect.poll(() => shop.run(job)).toEqual({ faults: ['another'] });
  });
});

test('a process sees that its daemon is gone', async () => {
  const file = join(root.folder, 'waiting.mjs');
  const hands = new URL('../../src/record/sqlite/hand.ts', import.meta.url).href;
  writeFileSync(
    file,
    `const { processHand } = await import('${hands}');
     const hand = processHand(new URL('${new URL('../../src/record/sqlite/worker.ts', import.meta.url).href}'));
     hand.emitter.on('spawn', () => console.log(hand.emitter.pid));
     setInterval(() => {}, 1e6);`,
  );
  const daemon = spawn(process.execPath, [...process.execArgv, file], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const [said] = await once(daemon.stdout, 'data');
  const pid = Number(String(said));
  expect(isAlive(pid)).toBe(true);
  daemon.kill('SIGKILL');
  await expect.poll(() => isAlive(pid), { timeout: 30_000 }).toBe(false);
});

function isAlive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch {
    return false;
  }
}
