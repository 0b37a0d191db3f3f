/** Killed without warning amid the sealing: every observation is there, and none twice. */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { courseServices, pieceMs, pieceNumber } from './support/sealed-course.ts';
import { openSealed, temporaryRecord } from './support/sealing.ts';
import { always, t0 } from './support/values.ts';

const script = fileURLToPath(new URL('./support/seal-until-killed.ts', import.meta.url));
const loader = new URL('../support/typescript.mjs', import.meta.url).href;

let files: ReturnType<typeof temporaryRecord>;
beforeEach(() => {
  files = temporaryRecord();
});
afterEach(() => files.end());

/** Lets it write from the piece `first` on and kills it at its `count`-th batch; gives the last piece that it reported. */
async function killedAtBatch(count: number, first: number): Promise<number> {
  const args = ['--import', loader, script, files.path, String(first)];
  const child = spawn(process.execPath, args, { stdio: ['ignore', 'pipe', 'pipe'] });
  const closed = once(child, 'close');
  let complaint = '';
  child.stderr.on('data', (chunk) => {
    complaint += String(chunk);
  });
  let last = first - 1;
  let batches = 0;
  for await (const line of createInterface({ input: child.stdout })) {
    const [word, number] = line.split(' ');
    if (word === 'written') last = Number(number);
    if (word === 'batch' && ++batches === count) child.kill('SIGKILL');
  }
  await closed;
  expect(complaint).toBe('');
  expect(child.signalCode).toBe('SIGKILL');
  return last;
}

test('after kill -9 amid chunks and days every observation is in exactly one place', async () => {
  let pieces = 0;
  const found = new Set<string>();
  for (const count of [1, 2, 5, 9, 14]) {
    const last = await killedAtBatch(count, pieces);
    const record = openSealed(files.path, { rowsMax: 20 });
    const written = Math.max(
      ...(await record.observations('shop', always)).map(({ facts }) => Number(facts['number'])),
    );
    // One more may have been written than its process lived to tell.
    expect([last, last + 1]).toContain(written);
    pieces = written + 1;

    const all = Array.from({ length: pieces }, (_, number) => pieceNumber(number)).flat();
    const expectAll = async () => {
      for (const id of courseServices) {
        const expected = all.filter(({ serviceId }) => serviceId === id);
        expect(
          (await record.observations(id, always)).map(({ at, outcome, facts }) => ({
            at,
            outcome,
            facts,
          })),
        ).toEqual(
          expected.map(({ observation: { at, outcome, facts } }) => ({ at, outcome, facts })),
        );
      }
    };
    await expectAll();
    const rows = (table: string) =>
      record.database.prepare(`SELECT count(*) FROM ${table}`).pluck().get();
    for (const table of ['tail', 'moved', 'chunks', 'sealed_days']) {
      if (Number(rows(table)) > 0) found.add(table);
    }
    expect(record.database.pragma('integrity_check', { simple: true })).toBe('ok');
    if (count === 14) {
      // What was begun is brought to its end.
      await record.sealing.seal(t0 + (pieces + 9) * pieceMs);
      await expectAll();
      expect([rows('tail'), rows('chunks')]).toEqual([0, 0]);
    }
    record.close();
  }
  // It was killed in each of these states at least once.
  expect([...found].sort()).toEqual(['chunks', 'moved', 'sealed_days', 'tail']);
}, 60_000);
