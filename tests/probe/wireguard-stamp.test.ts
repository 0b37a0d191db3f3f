/** Timestamps of initiations: never one that is not greater than the one before. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { keepInMemory } from '../../src/probe/keep-in-memory.ts';
import { nextStamp, stampAfter } from '../../src/probe/wireguard-stamp.ts';
import { makePrivateKey, publicOf } from '../../src/probe/x25519.ts';
import { simulatedClock } from '../support/clock-simulated.ts';

const at = (text: string) => Date.parse(text);

test('a stamp is TAI64N with the ten seconds that the reference implementations add', () => {
  // libtai, "External TAI64N format": the second 1970-01-01 00:00:00 TAI is 4000000000000000.
  expect(stampAfter(0, null)).toBe('400000000000000a00000000');
  expect(stampAfter(at('2025-01-01T00:00:10Z'), null)).toBe('400000006774859400000000');
});

test('the nanoseconds are blanked below 16.78 ms', () => {
  const second = at('2026-11-25T04:00:00Z');
  const nsOf = (ms: number) => Number.parseInt(stampAfter(second + ms, null).slice(16), 16);
  expect([0, 16, 17, 999].map(nsOf)).toEqual([0, 0, 1 << 24, 59 * (1 << 24)]);
});

test('within one step, and after the clock was set back, the next step is taken', () => {
  const now = at('2026-11-25T04:00:00Z');
  const first = stampAfter(now, null);
  const second = stampAfter(now + 1, first);
  const third = stampAfter(now - 3_600_000, second);
  expect([second, third].map((stamp) => stamp.slice(16))).toEqual(['01000000', '02000000']);
  const last = stampAfter(now + 999, null);
  expect(stampAfter(now, last)).toBe(stampAfter(now + 1_000, null));
});

test('whatever the clock does, stamps only grow, stay whole, and catch up with it', () => {
  const instant = fc.integer({ min: 0, max: at('2100-01-01T00:00:00Z') });
  const before = fc.option(
    fc.oneof(
      instant.map((ms) => stampAfter(ms, null)),
      fc.constant('400000fffffffffe3b000000'),
    ),
  );
  fc.assert(
    fc.property(instant, before, (now, last) => {
      const stamp = stampAfter(now, last);
      expect(stamp).toMatch(/^400000[0-9a-f]{12}000000$/);
      expect(Number.parseInt(stamp.slice(16), 16)).toBeLessThan(1_000_000_000);
      if (last !== null) expect(stamp > last).toBe(true);
      expect(stamp >= stampAfter(now, null)).toBe(true);
    }),
  );
});

test('what was kept counts after a restart, and what is damaged does not', async () => {
  const clock = simulatedClock({ wallMs: at('2026-11-25T04:00:00Z') });
  const later = stampAfter(at('2027-01-01T00:00:00Z'), null);
  const keepOf = (value: string) => ({ ...keepInMemory(), read: async () => value });
  const stampBy = async (value: string) =>
    (await nextStamp(publicOf(makePrivateKey()), { clock, keep: keepOf(value) })).toString('hex');
  expect(await stampBy(later)).toBe(stampAfter(0, later));
  for (const damaged of [
    '',
    'x',
    'ffffffffffffffffffffffff',
    `${later}00`,
    later.toUpperCase().slice(1),
  ]) {
    expect(await stampBy(damaged)).toBe(stampAfter(clock.wallMs(), null));
  }
});

test('each key has stamps of its own', async () => {
  const keep = keepInMemory();
  const clock = simulatedClock({ wallMs: at('2026-11-25T04:00:00Z') });
  const [one, other] = [publicOf(makePrivateKey()), publicOf(makePrivateKey())];
  const first = await nextStamp(one, { clock, keep });
  expect(await nextStamp(other, { clock, keep })).toEqual(first);
  expect((await nextStamp(one, { clock, keep })).compare(first)).toBe(1);
});
