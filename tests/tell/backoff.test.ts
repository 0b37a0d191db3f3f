/** What follows an attempt. The figures are ours; exponential pauses with full jitter are common practice, without a standard. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { deadLetterAfterMs, deliveryBackoffMsMax } from '../../src/base/limits.ts';
import { nextStep, receptionOfHttp, receptionOfSmtp, type Tried } from '../../src/tell/backoff.ts';

const now = 1_795_579_200_000;
const tried: Tried = {
  reception: 'later',
  retryAfterMs: null,
  now,
  firstAttemptAt: now,
  attemptsBefore: 0,
};

/** Stands for the largest number below 1: the whole pause. */
const whole = () => 1;

test.each([200, 201, 202, 204, 299])('%i is delivery', (status) => {
  expect(nextStep({ ...tried, reception: receptionOfHttp(status) }, whole)).toEqual({
    state: 'delivered',
  });
});

test.each([400, 401, 403, 404, 410, 413, 422, 499])('%i is a dead letter at once', (status) => {
  expect(
    nextStep({ ...tried, reception: receptionOfHttp(status), retryAfterMs: 5_000 }, whole),
  ).toEqual({ state: 'dead' });
});

test.each([101, 199, 300, 301, 302, 307, 308, 399, 408, 425, 429, 500, 502, 503, 504])(
  '%s is tried again',
  (status) => {
    expect(nextStep({ ...tried, reception: receptionOfHttp(status) }, whole).state).toBe('waiting');
  },
);

test.each([
  [0, 2_000],
  [1, 4_000],
  [2, 8_000],
  [6, 128_000],
  [8, 512_000],
  [9, 900_000],
  [10, 900_000],
  [5_000, 900_000],
])('after %i earlier attempts the whole pause is %i ms', (attemptsBefore, pauseMs) => {
  const next = nextStep({ ...tried, attemptsBefore }, whole);
  expect(next).toEqual({ state: 'waiting', nextAttemptAt: now + pauseMs });
});

test('jitter takes any part of the pause, down to nothing', () => {
  const at = (part: number) => nextStep({ ...tried, attemptsBefore: 2 }, () => part);
  expect(at(0)).toEqual({ state: 'waiting', nextAttemptAt: now });
  expect(at(0.25)).toEqual({ state: 'waiting', nextAttemptAt: now + 2_000 });
});

test('Retry-After is a floor, not a ceiling', () => {
  const floor: Tried = { ...tried, retryAfterMs: 30_000 };
  expect(nextStep(floor, whole)).toEqual({ state: 'waiting', nextAttemptAt: now + 30_000 });
  const late = nextStep({ ...floor, attemptsBefore: 9 }, whole);
  expect(late).toEqual({ state: 'waiting', nextAttemptAt: now + 900_000 });
});

test('a day after the first attempt it is given up, and not before', () => {
  const at = (passedMs: number) =>
    nextStep({ ...tried, firstAttemptAt: now - passedMs }, whole).state;
  expect(at(deadLetterAfterMs - 1)).toBe('waiting');
  expect(at(deadLetterAfterMs)).toBe('dead');
});

test('a wall clock that stepped back gives nothing up', () => {
  expect(nextStep({ ...tried, firstAttemptAt: now + 3_600_000 }, whole).state).toBe('waiting');
});

test('what always fails is tried a bounded number of times, at bounded pauses', () => {
  fc.assert(
    fc.property(fc.double({ min: 0.5, max: 1, noNaN: true }), (part) => {
      let at = now;
      for (let attemptsBefore = 0; ; attemptsBefore++) {
        expect(attemptsBefore).toBeLessThan(250);
        const next = nextStep(
          { ...tried, now: at, firstAttemptAt: now, attemptsBefore },
          () => part,
        );
        if (next.state !== 'waiting') {
          expect(next.state).toBe('dead');
          expect(at - now).toBeLessThan(deadLetterAfterMs + deliveryBackoffMsMax);
          return;
        }
        expect(next.nextAttemptAt - at).toBeLessThanOrEqual(deliveryBackoffMsMax);
        at = next.nextAttemptAt;
      }
    }),
    { numRuns: 30 },
  );
});

test.each([
  [250, 'taken'],
  [251, 'taken'],
  [421, 'later'],
  [450, 'later'],
  [550, 'refused'],
  [554, 'refused'],
  [354, 'later'],
] as const)('a mail server that replies %i has it %s (RFC 5321 §4.2.1)', (code, reception) => {
  expect(receptionOfSmtp(code)).toBe(reception);
});
