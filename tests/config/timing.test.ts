/** Durations that depend on each other, with the manners of a probe that is stricter than most. */
import { expect, test } from 'vitest';
import { parts } from '../../src/config/schema.ts';
import { serviceFindings, timingOf } from '../../src/config/timing.ts';

const manners = { minGapMs: 5_000 };

function written(service: object, defaults: object = {}) {
  return [
    parts.service.parse({ name: 'VPN', probe: 'tcp://nas:1', ...service }),
    parts.defaults.parse(defaults),
  ] as const;
}

test("what is inherited is stretched to the probe's manners", () => {
  const [service, defaults] = written({}, { every: '2s', timeout: '1s', recheck: '500ms' });
  expect(timingOf(service, defaults, manners)).toEqual({
    everyMs: 5_000,
    timeoutMs: 1_000,
    recheckMs: 5_000,
  });
  expect(serviceFindings(service, defaults, manners)).toEqual([]);
});

test('an own recheck is stretched too, an own interval is a mistake', () => {
  const [service, defaults] = written({ every: '4s', recheck: '1s' });
  expect(timingOf(service, defaults, manners).recheckMs).toBe(5_000);
  expect(serviceFindings(service, defaults, manners)).toEqual([
    {
      key: 'every',
      message: 'expected at least 5s: this protocol wants a pause between two questions',
    },
  ]);
});

test('an own recheck may be longer than the interval, an inherited one is not', () => {
  const [own, defaults] = written({ every: '10s', recheck: '1m' }, { recheck: '30s' });
  expect(timingOf(own, defaults, manners).recheckMs).toBe(60_000);
  const [inherited] = written({ every: '10s' });
  expect(timingOf(inherited, defaults, manners).recheckMs).toBe(10_000);
});

test('the longest timeout that the interval allows is no mistake, nor is a slowness just below it', () => {
  const [service, defaults] = written({ every: '10s', timeout: '10s', slow: '9999ms' });
  expect(serviceFindings(service, defaults, manners)).toEqual([]);
});
