/** A stored memory is taken only when it has the shape that the judge knows. */
import Database from 'better-sqlite3';
import { expect, test } from 'vitest';
import type { Log } from '../../src/base/log.ts';
import { silentLog } from '../../src/base/log.ts';
import { steady } from '../../src/judge/unsteady.ts';
import { memoryFrom } from '../../src/record/sqlite/memory-shape.ts';
import { knowRowChecksums } from '../../src/record/sqlite/row-checksums.ts';
import { openSqlite } from './support/sqlite.ts';
import { answered, changes, memory, outage, pulse, t0 } from './support/values.ts';

const full = memory({
  state: 'unobserved',
  unobservedBy: 'gateway',
  failedRun: { count: 2, firstAt: t0, lastAt: t0 },
  outage: outage('shop', t0, { restoredAt: t0, causeId: 'nas' }),
  steadiness: {
    penalty: 1.88,
    at: t0,
    unsteadySince: t0,
    setbacks: [{ at: t0, to: 'down' }],
  },
});

test('a memory comes back as it was', () => {
  expect(memoryFrom(JSON.stringify(full))).toEqual(full);
  expect(memoryFrom(JSON.stringify(memory({ since: null })))).toEqual(memory({ since: null }));
});

test('one of the time before steadiness was kept was steady; a field that is missing else, or of another sort, makes it none', () => {
  for (const name of Object.keys(full)) {
    const { [name]: _, ...without } = { ...full } as { [name: string]: unknown };
    const expected = name === 'steadiness' ? { ...full, steadiness: steady } : null;
    expect(memoryFrom(JSON.stringify(without)), `without ${name}`).toEqual(expected);
    expect(memoryFrom(JSON.stringify({ ...without, [name]: [] })), `${name} a list`).toBeNull();
  }
  const inside = [
    { ...full, state: 'asleep' },
    { ...full, since: 0.5 },
    { ...full, failedRun: { count: 2, firstAt: t0 } },
    { ...full, outage: { ...full.outage, id: 7 } },
    { ...full, steadiness: { ...full.steadiness, penalty: 'much' } },
    { ...full, steadiness: { ...full.steadiness, setbacks: [{ at: t0 }] } },
    { ...full, steadiness: { ...full.steadiness, setbacks: {} } },
    { ...full, outage: { ...full.outage, trouble: { ...full.outage?.trouble, reason: 'tired' } } },
  ];
  for (const value of inside) expect(memoryFrom(JSON.stringify(value))).toBeNull();
});

test('what is no JSON, or no object, is none', () => {
  for (const json of ['', '{', 'null', '7', '"up"', '[]']) expect(memoryFrom(json)).toBeNull();
});

test('a damaged memory costs that memory and a line in the log, and nothing else', async () => {
  const said: object[] = [];
  const log: Log = { ...silentLog, error: (fields) => void said.push(fields) };
  const opened = await openSqlite(log);
  const { record } = opened;
  for (const serviceId of ['shop', 'nas']) {
    await record.commit(
      changes({
        observations: [{ serviceId, observation: answered(t0) }],
        memories: [{ serviceId, memory: full }],
      }),
    );
  }
  const other = new Database(opened.path);
  // Written as it is, checksum and all: not by damage of the file, but by another version.
  knowRowChecksums(other);
  other.exec(`UPDATE memories SET json = substr(json, 1, 40)
              WHERE service = (SELECT key FROM services WHERE id = 'shop')`);
  other.close();
  expect(await record.remembered('shop')).toEqual({ memory: null, last: answered(t0) });
  expect(await record.remembered('nas')).toEqual({ memory: full, last: answered(t0) });
  expect(said).toEqual([{ service: 'shop' }]);
  await record.flush(pulse(t0));
  await opened.end();
});
