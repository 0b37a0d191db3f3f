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

interface Death {
  readonly batch: number;
  readonly statement: number;
}

/** Lets it write from the piece `first` on until it kills itself; gives the last piece that it reported. */
async function writtenUntilKilled(first: number, { batch, statement }: Death): Promise<number> {
  const args = ['--import', loader, script, files.path, first, batch, statement].map(String);
  const child = spawn(process.execPath, args, { stdio: ['ignore', 'pipe', 'pipe'] });
  const closed = once(child, 'close');
  let complaint = '';
  child.stderr.on('data', (chunk) => {
    complaint += String(chunk);
  });
  let last = first - 1;
  for await (const line of createInterface({ input: child.stdout })) {
    last = Number(line.replace('written ', ''));
  }
  await closed;
  expect(complaint).toBe('');
  expect(child.signalCode).toBe('SIGKILL');
  return last;
}

/** In the first statements of a batch chunks are put in, or days and chunks taken away; in later ones days are put in. */
const deaths: readonly Death[] = [
  { batch: 1, statement: 2 },
  { batch: 1, statement: 5 },
  { batch: 2, statement: 8 },
  { batch: 6, statement: 3 },
  { batch: 12, statement: 6 },
  { batch: 13, statement: 12 },
  { batch: 13, statement: 19 },
];

test('after kill -9 amid chunks and days every observation is in exactly one place', async () => {
  let pieces = 0;
  const found = new Set<string>();
  for (const death of deaths) {
    const last = await writtenUntilKilled(pieces, death);
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
    if (death === deaths.at(-1)) {
      // What was begun is brought to its end.
      await record.sealing.seal(t0 + (pieces + 9) * pieceMs);
      await expectAll();
      expect([rows('tail'), rows('chunks')]).toEqual([0, 0]);
    }
    record.close();
  }
  // It was killed in each of these states at least once.
  expect([...found].sort()).toEqual(['chunks', 'moved', 'sealed_days', 'tail']);
}, 120_000);
