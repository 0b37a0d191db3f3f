/** The longest and the shortest outage, with their bounds, worked out by hand in seconds. */
import { expect, test } from 'vitest';
import type { Outage, Span, UnconfirmedFailure } from '../../src/base/values.ts';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { evidenceOf } from '../../src/uptime/evidence.ts';
import type { OutageLength } from '../../src/uptime/outages.ts';
import { coursesOf } from '../../src/uptime/outages.ts';
import { history } from './course.ts';

type Around = Parameters<typeof history>[1];

/** [estimate, low, high] in seconds, and whether it is open. */
function said(length: OutageLength | null) {
  if (length === null) return null;
  const { lengthMs, lowMs, highMs, open } = length;
  return [lengthMs / 1_000, lowMs / 1_000, highMs / 1_000, ...(open ? ['open'] : [])];
}

function extremes(text: string, around: Partial<Around> = {}) {
  const { longest, shortest } = availabilityOf(history(text, { window: [0, 1000], ...around }));
  return { longest: said(longest), shortest: said(shortest) };
}

const three = 'up 0 | down 110<100 | up 210<200 | down 300 | up 330 | down 500<490 | up 550<545';

test('of three outages the longest and the shortest, each between its first and last answers', () => {
  expect(extremes(three)).toEqual({ longest: [100, 90, 110], shortest: [30, 30, 30] });
});

test('without an outage there is neither', () => {
  expect(extremes('up 0')).toEqual({ longest: null, shortest: null });
});

test('one that lasts may be the longest by what it has reached, never the shortest', () => {
  const lasting = `${three} | down 880<870`;
  expect(extremes(lasting, { lastFailed: 990 }).longest).toEqual([125, 110, 130, 'open']);
  expect(extremes('up 0 | down 880<870', { lastFailed: 990 }).shortest).toBeNull();
});

test('a window cuts no length off, and what does not touch it is not in it', () => {
  const whole = extremes(three).longest;
  expect(extremes(three, { window: [150, 160], now: 1000 })).toEqual({
    longest: whole,
    shortest: whole,
  });
  expect(extremes(three, { window: [600, 700], now: 1000 }).longest).toBeNull();
  // It was over when the window began; it had not begun when the window ended.
  expect(extremes(three, { window: [330, 500], now: 1000 }).longest).toBeNull();
});

test('unobserved and planned time inside an outage is no part of its length', () => {
  const gap = 'up 0 | down 100 | unobserved 200 | down 300 | up 400';
  expect(extremes(gap).longest).toEqual([200, 200, 200]);
  expect(extremes(gap, { planned: [[350, 500]] }).longest).toEqual([150, 150, 150]);
});

test('each course has its edges, its confirmation and what it is counted for', () => {
  const asked = history('up 0 | down 110<100 | up 210<200', { window: [0, 1000] });
  const [course] = coursesOf(evidenceOf(asked));
  expect(course).toMatchObject({
    outageId: 'order-book.110000',
    begins: { earliest: 100_000, middle: 105_000, latest: 110_000 },
    ends: { earliest: 200_000, middle: 205_000, latest: 210_000 },
    detectionMs: 10_000,
  });
});

test('unconfirmed failures are counted where they were first seen, outside planned time', () => {
  const unconfirmed = [
    [100, 110, 110, 120],
    [300, 310, 310, 320],
    [500, 510, 510, 520],
  ] as const;
  const around = { unconfirmed, planned: [[305, 330]] as const, now: 1000 };
  const counted = (window: [number, number]) =>
    availabilityOf(history('up 0', { ...around, window })).unconfirmed;
  expect(counted([0, 1000])).toBe(2);
  expect(counted([110, 510])).toBe(1);
});

/** A year of a service that fails every hour, whose parts count how often they are looked at. */
function flapping(outagesCount: number) {
  let looks = 0;
  const watched = <Value extends object>(value: Value): Value =>
    new Proxy(value, {
      get: (target, name) => {
        looks += 1;
        return Reflect.get(target, name);
      },
    });
  const hourMs = 3_600_000;
  const base = history('up 0 | down 110<100', { window: [0, 1] });
  const example = base.outages[0]!;
  const spans: Span[] = [];
  const outages: Outage[] = [];
  const unconfirmed: UnconfirmedFailure[] = [];
  for (let nth = 0; nth < outagesCount; nth += 1) {
    const [up, down] = [nth * hourMs, nth * hourMs + 1_800_000];
    spans.push({ state: 'up', from: up, earliestFrom: up - 5_000, to: down });
    spans.push({ state: 'down', from: down, earliestFrom: down - 5_000, to: up + hourMs });
    outages.push({
      ...example,
      id: `a.${nth}`,
      firstFailedAt: down,
      confirmedAt: down + 5_000,
      lastFailedAt: up + hourMs - 5_000,
      restoredAt: up + hourMs,
    });
    const at = up + 600_000;
    unconfirmed.push({
      serviceId: 'order-book',
      lastGoodAt: at - 5_000,
      firstFailedAt: at,
      lastFailedAt: at,
      nextGoodAt: at + 5_000,
    });
  }
  const to = outagesCount * hourMs;
  const planned = outages.map((_, nth) => ({ from: nth * hourMs, to: nth * hourMs + 60_000 }));
  const figures = availabilityOf({
    spans: spans.map(watched),
    outages: outages.map(watched),
    unconfirmed: unconfirmed.map(watched),
    planned: planned.map(watched),
    window: { from: 0, to },
    now: to,
  });
  return { figures, looks: () => looks };
}

test('twice as many outages take little more than twice the work: a year of them is no trouble', () => {
  const { figures, looks } = flapping(8_760);
  expect(figures).toMatchObject({ outages: 8_760, unconfirmed: 8_760 });
  expect(looks() / flapping(4_380).looks()).toBeLessThan(2.3);
});

test('outages may come in any order, as the newest first', () => {
  const asked = history(three, { window: [0, 1000] });
  const turned = { ...asked, outages: [...asked.outages].reverse() };
  expect(availabilityOf(turned)).toEqual(availabilityOf(asked));
  expect(availabilityOf(turned).outages).toBe(3);
});
