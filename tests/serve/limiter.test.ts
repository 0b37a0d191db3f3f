/** So many in so long a time; and who counts as one. */
import { expect, test } from 'vitest';
import { limiterOf, networkOf } from '../../src/serve/limiter.ts';
import { simulatedClock } from '../support/clock-simulated.ts';

test('each has its own number, and all together have one', async () => {
  const clock = simulatedClock({ wallMs: 0 });
  const limiter = limiterOf({ clock, windowMs: 1_000, eachCountMax: 2, allCountMax: 3 });
  expect(limiter.take('a')).toBeNull();
  await clock.advance(400);
  expect(limiter.take('a')).toBeNull();
  expect(limiter.take('a')).toBe(600);
  expect(limiter.take('b')).toBeNull();
  expect(limiter.take('c')).toBe(600);
  await clock.advance(600);
  // What was refused was not counted.
  expect(limiter.take('c')).toBeNull();
  expect(limiter.take('a')).toBe(400);
  limiter.forgive('a');
  expect(limiter.take('a')).toBeNull();
});

test('who made a good one is not kept out by others, only by itself', () => {
  const clock = simulatedClock({ wallMs: 0 });
  const limiter = limiterOf({ clock, windowMs: 1_000, eachCountMax: 2, allCountMax: 3 });
  limiter.take('owner');
  limiter.forgive('owner');
  for (const key of ['a', 'a', 'b']) limiter.take(key);
  expect(limiter.take('c')).toBe(1_000);
  expect([limiter.take('owner'), limiter.take('owner')]).toEqual([null, null]);
  expect(limiter.take('owner')).toBe(1_000);
});

test.each([
  ['192.0.2.7', '192.0.2.7'],
  ['::ffff:192.0.2.7', '192.0.2.7'],
  ['2001:db8:1:2:3:4:5:6', '2001:db8:1:2::/64'],
  ['2001:0DB8:0001:2::9', '2001:db8:1:2::/64'],
  ['2001:db8::9', '2001:db8:0:0::/64'],
  ['::1', '0:0:0:0::/64'],
  ['fe80::1%eth0', 'fe80:0:0:0::/64'],
])('%s counts as %s', (address, network) => {
  expect(networkOf(address)).toBe(network);
});
