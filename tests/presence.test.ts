/** The daemon's presence under a simulated clock: what it writes down about itself. */
import { describe, expect, test } from 'vitest';
import { silentLog } from '../src/base/log.ts';
import { came, clockSet, keepBeat } from '../src/presence.ts';
import { simulatedClock } from './support/clock-simulated.ts';
import { memoryRecord } from './support/record-memory.ts';

const startMs = 1_795_579_200_000;

function scene(wallMs = startMs, record = memoryRecord()) {
  const clock = simulatedClock({ wallMs });
  const parts = { clock, record, log: silentLog };
  const kinds = async () =>
    (await record.disturbances({ from: 0, to: Number.MAX_SAFE_INTEGER })).map(({ kind }) => kind);
  return { clock, record, parts, kinds };
}

describe('the beginning', () => {
  test('the first daemon of a record came, and nothing was cut off', async () => {
    const { parts, kinds } = scene();
    await came(parts);
    expect(await kinds()).toEqual(['started']);
  });

  test('after one that was cut off this is said; after one that stopped it is not', async () => {
    const { parts, record, kinds } = scene();
    await came(parts);
    await came(parts);
    await record.disturbed({ at: startMs, kind: 'stopped', byMs: 0 });
    await came(parts);
    expect(await kinds()).toEqual([
      'started',
      'not-stopped-cleanly',
      'started',
      'stopped',
      'started',
    ]);
  });

  test('a stop that lies in the future, since the clock was set back, was a stop all the same', async () => {
    const { parts, record, kinds } = scene();
    await record.disturbed({ at: startMs - 1_000, kind: 'started', byMs: 0 });
    await record.disturbed({ at: startMs + 60_000, kind: 'stopped', byMs: 0 });
    await came(parts);
    expect(await kinds()).not.toContain('not-stopped-cleanly');
  });
});

describe('a clock that is behind the record', () => {
  test('is waited for, and is right once it is set', async () => {
    const { clock, parts, record } = scene();
    await record.flush({ wallMs: startMs + 3_600_000, bootMs: 0, bootId: '' });
    const said: string[] = [];
    const waiting = clockSet(parts, (text) => void said.push(text));
    await clock.advance(10_000);
    expect(said).toEqual([expect.stringMatching(/3600 s behind.*Waiting/)]);
    clock.step(3_600_000);
    await clock.advance(1_000);
    expect(await waiting).toBeNull();
  });

  test('is waited for a minute and no longer; then it is said what is wrong', async () => {
    const { clock, parts, record } = scene();
    await record.flush({ wallMs: startMs + 3_600_000, bootMs: 0, bootId: '' });
    const waiting = clockSet(parts, () => {});
    await clock.advance(61_000);
    expect(await waiting).toMatch(/instants stand still/);
  });
});

describe('the beat', () => {
  test('writes down a suspend, a stall and a step; drift and busy moments are none', async () => {
    const { clock, parts, kinds } = scene();
    const beating = keepBeat(parts);
    await clock.advance(60_000);
    clock.step(500);
    await clock.advance(10_000);
    expect(await kinds()).toEqual([]);
    clock.suspend(600_000);
    await clock.advance(10_000);
    clock.stall(60_000);
    await clock.advance(10_000);
    clock.step(-7_200_000);
    await clock.advance(10_000);
    expect([...(await kinds())].sort()).toEqual(['clock-stepped', 'stalled', 'suspended']);
    beating.stop();
    clock.suspend(600_000);
    await clock.advance(10_000);
    expect(await kinds()).toHaveLength(3);
  });
});
