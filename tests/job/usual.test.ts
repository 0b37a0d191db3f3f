/** What is usual for a job, and what is not. Median and MAD of the samples below are worked out by hand. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { slowAfterMs, unlike } from '../../src/job/usual.ts';
import { dayMs, minuteMs, night, standing } from './support.ts';

const nights = (count: number, more: (day: number) => Parameters<typeof night>[2] = () => ({})) =>
  Array.from({ length: count }, (_, index) => night(index + 1, 10 * minuteMs, more(index)));

describe('duration', () => {
  test('nothing is usual before five runs that ended well', () => {
    expect(slowAfterMs(nights(4))).toBeNull();
    expect(slowAfterMs([...nights(4), night(5, 1, { exit: 1 })])).toBeNull();
    expect(slowAfterMs(nights(5))).toEqual({ ms: 30 * minuteMs, usualMs: 10 * minuteMs });
  });

  test('more than three times the median is slow', () => {
    const took = (minutes: number) => night(20, minutes * minuteMs);
    expect(unlike(took(30), nights(7))).toBeNull();
    expect(unlike({ ...took(30), endedAt: (took(30).endedAt ?? 0) + 1 }, nights(7))).toMatchObject({
      kind: 'slow',
      usualMs: 10 * minuteMs,
    });
  });

  test('one strange night before changes nothing', () => {
    expect(slowAfterMs([...nights(6), night(9, 1_000 * minuteMs)])?.usualMs).toBe(10 * minuteMs);
  });

  test('a job of a second may take some', () => {
    const short = Array.from({ length: 6 }, (_, index) => night(index + 1, 1_000));
    expect(slowAfterMs(short)?.ms).toBe(11_000);
  });

  test('is told while it runs, once, and then at its end', () => {
    const open = { ...night(20), endedAt: null, exit: null };
    const beganAt = open.beganAt ?? 0;
    const before = nights(6);
    expect(standing([...before, open], beganAt + 30 * minuteMs).observation.outcome).toBe(
      'answered',
    );
    const late = standing([...before, open], beganAt + 30 * minuteMs + 1);
    expect(late).toMatchObject({ state: 'running', observation: { outcome: 'limited' } });
    expect(late.observation.trouble).toMatchObject({
      reason: 'run-slow',
      detail: 'running for more than 30 min; it usually takes 10 min',
    });
    const ended = night(20, 31 * minuteMs);
    const { observation } = standing([...before, ended], beganAt + 40 * minuteMs);
    expect(observation.trouble?.detail).toBe('it took 31 min; it usually takes 10 min');
  });
});

describe('a number that it tells', () => {
  /** Median 100, MAD 2 (distances 4 2 0 2 4 → 0 2 2 4 4): within half of the median. */
  const values = [96, 98, 100, 102, 104];
  const before = nights(5, (index) => ({ value: values[index] ?? 0, unit: 'GB' }));
  const told = (value: number, unit: string | null = 'GB') =>
    unlike(night(20, minuteMs, { value, unit }), before);

  test('is usual within half of the median', () => {
    expect(told(50)).toBeNull();
    expect(told(150)).toBeNull();
    expect(told(49.9)).toMatchObject({ kind: 'value', value: 49.9, usual: 100 });
    expect(told(150.1)).toMatchObject({ kind: 'value' });
  });

  test('or within five scaled MADs where it varies by more (MAD 20: 100 ± 148)', () => {
    const wide = [60, 80, 100, 120, 140];
    const varied = nights(5, (index) => ({ value: wide[index] ?? 0 }));
    const found = (value: number) => unlike(night(20, minuteMs, { value }), varied);
    expect(found(248)).toBeNull();
    expect(found(249)).not.toBeNull();
    // Below zero is no bound at all: a tenth of the median is.
    expect(found(10)).toBeNull();
    expect(found(9.9)).not.toBeNull();
  });

  test('in another unit is another number', () => {
    expect(told(3, 'files')).toBeNull();
  });

  test('a backup with nothing in it is caught, whatever came before', () => {
    const sizes = fc.array(fc.double({ min: 1, max: 1e12, noNaN: true }), {
      minLength: 5,
      maxLength: 25,
    });
    fc.assert(
      fc.property(sizes, (given) => {
        const runs = given.map((value, index) =>
          night(1, minuteMs, { value, endedAt: index * dayMs }),
        );
        expect(unlike(night(28, minuteMs, { value: 0 }), runs)?.kind).toBe('value');
      }),
      { seed: 1 },
    );
  });

  test('nights with nothing in them do not become usual before they are many', () => {
    const empty = Array.from({ length: 9 }, (_, index) =>
      night(16 + index, minuteMs, { value: 0, unit: 'GB' }),
    );
    const full = Array.from({ length: 11 }, (_, index) =>
      night(index + 1, minuteMs, { value: 100, unit: 'GB' }),
    );
    expect(
      unlike(night(28, minuteMs, { value: 0, unit: 'GB' }), [...full, ...empty]),
    ).not.toBeNull();
  });

  test('is said so', () => {
    const { observation } = standing(
      [...before, night(20, minuteMs, { value: 0, unit: 'GB' })],
      night(20).endedAt ?? 0,
    );
    expect(observation).toMatchObject({ outcome: 'limited' });
    expect(observation.trouble).toMatchObject({
      reason: 'run-unusual',
      detail: 'it ended well but told 0 GB; usual are 100 GB',
    });
  });
});

describe('the size of its output', () => {
  const before = nights(6, () => ({ sizeBytes: 14_000 }));
  const wrote = (sizeBytes: number) => unlike(night(20, 10 * minuteMs, { sizeBytes }), before);

  test('may grow, and shrink to a half', () => {
    expect(wrote(1_000_000)).toBeNull();
    expect(wrote(7_000)).toBeNull();
    expect(wrote(6_999)).toEqual({ kind: 'size', sizeBytes: 6_999, usual: 14_000 });
  });

  test('of a job that says nothing, nothing is usual', () => {
    const silent = nights(6, () => ({ sizeBytes: 0 }));
    expect(unlike(night(20, 10 * minuteMs, { sizeBytes: 0 }), silent)).toBeNull();
  });
});
