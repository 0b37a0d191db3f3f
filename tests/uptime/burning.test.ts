/**
 * When a budget burns by the slow pair of windows. The Site Reliability Workbook (Beyer et al. (eds.), O'Reilly 2018),
 * chapter 5, table 5-8: three days and six hours at rate 1; times recomputed exactly from its formulas.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  type BurnMemory,
  budgetUsed,
  burnStep,
  slowBurningOf,
  slowWindow,
  unburnt,
} from '../../src/uptime/burning.ts';
import type { History } from '../../src/uptime/evidence.ts';
import { history } from './course.ts';

const hourS = 3_600;
const dayS = 24 * hourS;
const hourMs = 3_600_000;

test('the slow pair is that of the table', () => {
  expect(slowWindow).toEqual({ longMs: 72 * hourMs, shortMs: 6 * hourMs, rate: 1 });
});

/** Seconds; the course is told up to `now`. */
function at(course: string, nowS: number): History {
  return history(course, { window: [0, nowS], now: nowS });
}

describe('99.9 %', () => {
  // E4: a total outage is detected after 0.001 × 72 h = 259.2 s.
  test('a total outage reaches the rate of both windows after 259.2 s, and not a moment before', () => {
    const course = `up 0 | down ${10 * dayS}`;
    expect(slowBurningOf(at(course, 10 * dayS + 259.1), 0.999).isBurning).toBe(false);
    expect(slowBurningOf(at(course, 10 * dayS + 259.2), 0.999)).toMatchObject({
      isBurning: true,
      outagesCount: 1,
    });
  });

  // E5: 15 % of errors reach rate 1 over three days after 28.8 min; E7: 1 % after 432 min, over six hours after 36.
  test.each([
    [0.15, 28.8],
    [0.01, 432],
  ])('errors of %d burn after %d minutes, to one period of ten seconds', (ratio, minutes) => {
    const periodS = 10;
    const beganS = 10 * dayS;
    const pieces = ['up 0'];
    for (let from = beganS; from < beganS + minutes * 60 + 20; from += periodS) {
      pieces.push(`down ${from}`, `up ${from + ratio * periodS}`);
    }
    const until = (nowS: number) =>
      pieces.filter((piece) => Number(piece.split(' ')[1]) < nowS).join(' | ');
    const burning = (nowS: number) => slowBurningOf(at(until(nowS), nowS), 0.999).isBurning;
    expect(burning(beganS + minutes * 60 - periodS)).toBe(false);
    expect(burning(beganS + minutes * 60 + periodS)).toBe(true);
  });

  test('six hours after the last of it the short window has cooled, though the long one has not', () => {
    const course = `up 0 | down ${10 * dayS} | up ${10 * dayS + 600}`;
    const later = (hours: number) =>
      slowBurningOf(at(course, 10 * dayS + 600 + hours * hourS), 0.999);
    expect(later(5.9).isBurning).toBe(true);
    expect(later(6.1)).toMatchObject({ isBurning: false, short: 0 });
    expect(later(6.1).long).toBeGreaterThan(1);
  });
});

test('two outages that used some of it are counted, one before the window and an unwatched time are not', () => {
  const course = `up 0 | down ${1 * dayS} | up ${1 * dayS + 900} | down ${9 * dayS} | up ${9 * dayS + 900} | unobserved ${9.5 * dayS} | up ${9.6 * dayS} | down ${10 * dayS} | up ${10 * dayS + 900}`;
  const found = slowBurningOf(at(course, 10 * dayS + 1_000), 0.995);
  expect(found).toMatchObject({ isBurning: true, outagesCount: 2 });
  expect(budgetUsed(at(course, 10 * dayS + 1_000), 0.995)).toEqual({
    // 0.5 % of 30 days (E: 3 h 36 min).
    allowedMs: 12_960_000,
    usedMs: 2_700_000,
    outagesCount: 3,
    sinceAt: dayS * 1_000,
  });
});

test('planned time burns nothing', () => {
  const course = `up 0 | down ${10 * dayS} | up ${10 * dayS + 900}`;
  const planned = history(course, {
    window: [0, 10 * dayS + 1_000],
    planned: [[10 * dayS - 60, 10 * dayS + 960]],
  });
  expect(slowBurningOf(planned, 0.999)).toMatchObject({ isBurning: false, long: 0 });
});

test('an objective of all the time has no budget that could burn', () => {
  expect(slowBurningOf(at('up 0 | down 100', 10_000), 1)).toMatchObject({ isBurning: false });
});

describe('it is told', () => {
  const burning = { isBurning: true, outagesCount: 2 };
  const calm = { isBurning: false, outagesCount: 0 };
  const run = (looks: readonly (readonly [hours: number, look: typeof burning])[]) => {
    let memory: BurnMemory = unburnt;
    return looks.map(([hours, look]) => {
      const step = burnStep(memory, look, hours * hourMs);
      memory = step.memory;
      return step.isDue;
    });
  };

  test('once while it burns', () => {
    expect(
      run([
        [0, burning],
        [1, burning],
        [30, burning],
      ]),
    ).toEqual([true, false, false]);
  });

  test('not for one outage, which was told itself, but as soon as another adds to it', () => {
    expect(
      run([
        [0, { isBurning: true, outagesCount: 1 }],
        [1, burning],
      ]),
    ).toEqual([false, true]);
  });

  test('again only after it had stopped for six hours', () => {
    expect(
      run([
        [0, burning],
        [1, calm],
        [6.9, calm],
        [6.95, burning],
      ]),
    ).toEqual([true, false, false, false]);
    expect(
      run([
        [0, burning],
        [1, calm],
        [7, calm],
        [7.1, burning],
      ]),
    ).toEqual([true, false, false, true]);
  });

  test('and never twice within six hours, however it comes and goes and the clock is set', () => {
    const look = fc.record({
      stepMs: fc.integer({ min: -hourMs, max: 3 * hourMs }),
      isBurning: fc.boolean(),
      outagesCount: fc.nat(3),
    });
    fc.assert(
      fc.property(fc.array(look, { maxLength: 40 }), (looks) => {
        let memory: BurnMemory = unburnt;
        let now = 0;
        /** Looks since the last telling. */
        let since: { calmMs: number; calmFrom: number | null } | null = null;
        for (const { stepMs, isBurning, outagesCount } of looks) {
          now += stepMs;
          if (since && isBurning) since.calmFrom = null;
          if (since && !isBurning) {
            since.calmFrom = Math.min(since.calmFrom ?? now, now);
            since.calmMs = Math.max(since.calmMs, now - since.calmFrom);
          }
          const step = burnStep(memory, { isBurning, outagesCount }, now);
          memory = step.memory;
          if (!step.isDue) continue;
          expect(outagesCount).toBeGreaterThan(1);
          if (since) expect(since.calmMs).toBeGreaterThanOrEqual(6 * hourMs);
          since = { calmMs: 0, calmFrom: null };
        }
      }),
    );
  });
});
