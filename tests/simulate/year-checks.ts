/** Compares a simulated year with what is known of it by other means: with every answer, and with what was really so. */
import { expect } from 'vitest';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { type Interval, intersect, subtract, totalMs, union } from '../../src/uptime/intervals.ts';
import { badTimes } from './course.ts';
import {
  courseExpected,
  type Judged,
  judged,
  served,
  timeExpected,
  unwatched,
} from './expected.ts';
import { always } from './lived.ts';
import type { SimulatedService } from './world.ts';
import { surelySeenMs } from './worlds.ts';
import type { Year } from './year.ts';

const dayMs = 24 * 3_600_000;

export async function checkYear(year: Year): Promise<void> {
  const months = monthsOf(year);
  expect(months.length).toBeGreaterThan(0);
  for (const service of year.services) {
    const looks = judged(year.looksOf(service.id));
    await checkCourse(year, service, looks);
    for (const month of months) {
      await checkMonth(year, { service, looks, month });
      await checkSteps(year, { service, looks, month });
    }
    await checkDay(year, { service, looks, month: months[0] as Interval });
  }
}

/** Whole months of UTC that lie within. */
function monthsOf({ startMs, endedAt }: Year): readonly Interval[] {
  const months: Interval[] = [];
  const first = new Date(startMs);
  for (let nth = 1; ; nth++) {
    const from = Date.UTC(first.getUTCFullYear(), first.getUTCMonth() + nth);
    const to = Date.UTC(first.getUTCFullYear(), first.getUTCMonth() + nth + 1);
    if (to > endedAt) return months;
    months.push({ from, to });
  }
}

async function checkCourse(
  { record, startMs, endedAt }: Year,
  service: SimulatedService,
  looks: readonly Judged[],
): Promise<void> {
  const spans = await record.spans(service.id, always);
  const outages = [...(await record.outages(service.id, always))].reverse();
  const expected = courseExpected(looks, service);
  expect(served(spans)).toEqual(expected.stretches.map(({ state, from }) => ({ state, from })));
  expect(outages.map(({ firstFailedAt, restoredAt }) => ({ firstFailedAt, restoredAt }))).toEqual(
    expected.outages,
  );

  // And what was really so: all that could be seen was found, and nothing that was not.
  const truth = badTimes(service.course, endedAt - startMs).map(({ from, to }) => ({
    from: startMs + from,
    to: startMs + to,
  }));
  const gone = union(unwatched(looks, service));
  const overlaps = (outage: (typeof outages)[number], { from, to }: Interval) =>
    outage.firstFailedAt < to && from < (outage.restoredAt ?? endedAt);
  for (const outage of outages) expect(truth.some((one) => overlaps(outage, one))).toBe(true);
  for (const one of truth) {
    const watched = subtract(union([one]), gone);
    if (!watched.some(({ from, to }) => to - from > surelySeenMs(service))) continue;
    expect(outages.some((outage) => overlaps(outage, one))).toBe(true);
  }
}

interface Checked {
  readonly service: SimulatedService;
  readonly looks: readonly Judged[];
  readonly month: Interval;
}

async function checkMonth({ record, startMs, endedAt }: Year, { service, looks, month }: Checked) {
  const { id } = service;
  // To a window belongs the span that follows it: its beginning may lie in the window.
  const range = { from: month.from, to: month.to + dayMs };
  const seen = availabilityOf({
    spans: await record.spans(id, range),
    outages: await record.outages(id, range),
    unconfirmed: await record.unconfirmed(id, range),
    planned: [],
    window: month,
    now: endedAt,
  });
  const { stretches, outages } = courseExpected(looks, service);
  expect({
    serving: seen.upMs + seen.degradedMs,
    down: seen.downMs,
    unobserved: seen.unobservedMs,
  }).toEqual(timeExpected(stretches, month));
  expect(seen.outages).toBe(
    outages.filter(({ firstFailedAt: at }) => month.from <= at && at < month.to).length,
  );

  // The truth, as far as somebody looked. A gap hides up to an interval at its beginning.
  const gaps = unwatched(looks, service);
  const required = subtract(union([month]), union(gaps));
  const down = union(
    badTimes(service.course, endedAt - startMs).map(({ from, to }) => ({
      from: startMs + from,
      to: startMs + to,
    })),
  );
  const share = 1 - totalMs(intersect(down, required)) / totalMs(required);
  const hiddenMs = gaps.length * (service.everyMs + 1_000);
  const slack = hiddenMs / totalMs(required);
  expect(share).toBeGreaterThanOrEqual((seen.low ?? 1) - slack);
  expect(share).toBeLessThanOrEqual((seen.high ?? 0) + slack);
}

/** Counts are exact, latencies within 1 %. */
async function checkSteps({ record }: Year, { service, looks, month }: Checked): Promise<void> {
  const steps = await record.steps(service.id, month, dayMs);
  const counts = { answered: 0, limited: 0, failed: 0, unproven: 0 };
  for (const [nth, step] of steps.entries()) {
    const from = month.from + nth * dayMs;
    const seen = looks
      .map(({ observation }) => observation)
      .filter(({ at }) => from <= at && at < from + dayMs);
    for (const { outcome } of seen) counts[outcome]++;
    const took = seen
      .filter(({ outcome }) => outcome === 'answered' || outcome === 'limited')
      .map(({ tookUs }) => tookUs)
      .sort((one, other) => one - other);
    expect(step.at).toBe(from);
    expect(step.count).toBe(seen.length);
    expect(step.failed).toBe(seen.filter(({ outcome }) => outcome === 'failed').length);
    expectNear(step.p50Us, atShare(took, 0.5));
    expectNear(step.p95Us, atShare(took, 0.95));
    expectNear(step.p99Us, atShare(took, 0.99));
  }
  expect((await record.latencies(service.id, month)).counts).toEqual(counts);
}

/** One day answer by answer: what a sealed day keeps of each. */
async function checkDay({ record }: Year, { service, looks, month }: Checked): Promise<void> {
  const day = { from: month.from + 10 * dayMs, to: month.from + 11 * dayMs };
  const kept = await record.observations(service.id, day);
  const seen = looks
    .map(({ observation }) => observation)
    .filter(({ at }) => day.from <= at && at < day.to);
  expect(kept.map(({ at, outcome, trouble }) => [at, outcome, trouble?.reason])).toEqual(
    seen.map(({ at, outcome, trouble }) => [at, outcome, trouble?.reason]),
  );
  for (const [nth, { tookUs }] of seen.entries()) expectNear(kept[nth]?.tookUs ?? null, tookUs);
}

/** Linear between the two nearest, as `quantile` has it (Hyndman & Fan's definition 7). */
function atShare(sorted: readonly number[], share: number): number | null {
  const place = share * (sorted.length - 1);
  const below = sorted[Math.floor(place)];
  const above = sorted[Math.ceil(place)];
  if (below === undefined || above === undefined) return null;
  return below + (place - Math.floor(place)) * (above - below);
}

function expectNear(value: number | null, expected: number | null): void {
  if (value === null || expected === null) expect(value).toBe(expected);
  else expect(Math.abs(value - expected)).toBeLessThanOrEqual(expected * 0.01 + 1);
}
