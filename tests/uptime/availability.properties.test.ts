/** What holds of availability whatever happened: against a model of single milliseconds, and by its laws. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { availabilityOf } from '../../src/uptime/availability.ts';
import type { History } from '../../src/uptime/evidence.ts';
import { failure, histories, interval } from './random-course.ts';

/** The model: what each single millisecond of the window is, by the words of the design. */
function counted({ spans, outages, unconfirmed, planned, window, now }: History) {
  const counts = { up: 0, degraded: 0, down: 0, unobserved: 0, planned: 0, low: 0, high: 0 };
  const spanAt = (at: number) =>
    spans.find(({ from, to, state }) => state !== 'unobserved' && from <= at && at < (to ?? now));
  const watched = (from: number, to: number) => {
    for (let at = from; at < to; at += 1) if (!spanAt(at)) return false;
    return true;
  };
  for (let at = window.from; at < Math.min(window.to, now); at += 1) {
    if (planned.some(({ from, to }) => from <= at && at < to)) {
      counts.planned += 1;
      continue;
    }
    const span = spanAt(at);
    if (span === undefined) {
      counts.unobserved += 1;
      continue;
    }
    const next = spans.find(({ from, state }) => state !== 'unobserved' && from === span.to);
    const lastShown = next ? Math.min(Math.max(next.earliestFrom, span.from), next.from) : null;
    const middle = next && lastShown !== null ? Math.floor((lastShown + next.from) / 2) : null;
    counts[(middle !== null && middle <= at && next ? next : span).state] += 1;

    const doubted = unconfirmed.some(
      (one) =>
        (one.lastGoodAt ?? one.firstFailedAt) <= at &&
        at < one.nextGoodAt &&
        watched(at, one.firstFailedAt + 1) &&
        watched(one.lastFailedAt, at),
    );
    const maybe = lastShown !== null && lastShown <= at && next?.state === 'down';
    if (span.state === 'down' || maybe || doubted) counts.low += 1;
    const lastFailedAt = outages.find(({ restoredAt }) => restoredAt === null)?.lastFailedAt;
    const sureUntil = lastShown ?? (span.to === null ? (lastFailedAt ?? now) : span.to);
    if (span.state === 'down' && at < sureUntil) counts.high += 1;
  }
  return counts;
}

test('every time is the number of milliseconds that the model counts', () => {
  fc.assert(
    fc.property(histories, (history) => {
      const model = counted(history);
      const figures = availabilityOf(history);
      expect({
        up: figures.upMs,
        degraded: figures.degradedMs,
        down: figures.downMs,
        unobserved: figures.unobservedMs,
        planned: figures.plannedMs,
      }).toEqual({
        up: model.up,
        degraded: model.degraded,
        down: model.down,
        unobserved: model.unobserved,
        planned: model.planned,
      });
    }),
    { numRuns: 500 },
  );
});

test('the bounds are what the model finds possible and certain', () => {
  fc.assert(
    fc.property(histories, (history) => {
      const model = counted(history);
      const requiredMs = model.up + model.degraded + model.down;
      const { low, high, estimate } = availabilityOf(history);
      const share = (downMs: number) =>
        requiredMs === 0 ? null : (requiredMs - downMs) / requiredMs;
      expect([low, estimate, high]).toEqual([model.low, model.down, model.high].map(share));
    }),
    { numRuns: 500 },
  );
});

test('low is never above the estimate, nor that above high, and all are shares', () => {
  fc.assert(
    fc.property(histories, (history) => {
      const { low, estimate, high } = availabilityOf(history);
      if (low === null || estimate === null || high === null) {
        expect([low, estimate, high]).toEqual([null, null, null]);
        return;
      }
      expect(0 <= low && low <= estimate && estimate <= high && high <= 1).toBe(true);
    }),
  );
});

test('the times add up to the window', () => {
  fc.assert(
    fc.property(histories, (history) => {
      const figures = availabilityOf(history);
      const { upMs, degradedMs, downMs, unobservedMs, plannedMs } = figures;
      expect(upMs + degradedMs + downMs + unobservedMs + plannedMs).toBe(figures.to - figures.from);
      expect(figures.ownDownMs + figures.externallyDisabledMs).toBe(downMs);
    }),
  );
});

test('two parts of a window add up to the whole, in times and in failures', () => {
  fc.assert(
    fc.property(histories, fc.nat(100), (history, percent) => {
      const { from, to } = history.window;
      const at = Math.round(from + (percent / 100) * (to - from));
      const [whole, early, late] = [
        { from, to },
        { from, to: at },
        { from: at, to },
      ].map((window) => availabilityOf({ ...history, window }));
      for (const name of [
        'upMs',
        'degradedMs',
        'downMs',
        'unobservedMs',
        'plannedMs',
        'externallyDisabledMs',
        'ownDownMs',
        'outages',
        'unconfirmed',
      ] as const) {
        expect(early![name] + late![name], name).toBe(whole![name]);
      }
    }),
  );
});

test('an unconfirmed failure more lowers at most the lower bound', () => {
  fc.assert(
    fc.property(histories, failure, (history, more) => {
      const before = availabilityOf(history);
      const after = availabilityOf({ ...history, unconfirmed: [...history.unconfirmed, more] });
      const { low: lowAfter, unconfirmed: countAfter, ...restAfter } = after;
      const { low: lowBefore, unconfirmed: countBefore, ...restBefore } = before;
      expect(restAfter).toEqual(restBefore);
      expect([0, 1]).toContain(countAfter - countBefore);
      expect(lowAfter ?? 0).toBeLessThanOrEqual(lowBefore ?? 0);
    }),
  );
});

test('more planned time never makes more of any state', () => {
  fc.assert(
    fc.property(histories, interval, (history, more) => {
      const before = availabilityOf(history);
      const after = availabilityOf({ ...history, planned: [...history.planned, more] });
      for (const name of [
        'upMs',
        'degradedMs',
        'downMs',
        'unobservedMs',
        'outages',
        'unconfirmed',
      ] as const) {
        expect(after[name], name).toBeLessThanOrEqual(before[name]);
      }
      expect(after.plannedMs).toBeGreaterThanOrEqual(before.plannedMs);
    }),
  );
});

test('a wider doubt about every edge never narrows the bounds', () => {
  fc.assert(
    fc.property(histories, fc.nat(20), (history, moreMs) => {
      const spans = history.spans.map((span) => ({
        ...span,
        earliestFrom: span.earliestFrom - moreMs,
      }));
      const before = availabilityOf(history);
      const after = availabilityOf({ ...history, spans });
      expect(after.low ?? 0).toBeLessThanOrEqual(before.low ?? 0);
      expect(after.high ?? 1).toBeGreaterThanOrEqual(before.high ?? 1);
    }),
  );
});

test('estimate, mean up time and mean down time tell the same story', () => {
  fc.assert(
    fc.property(histories, (history) => {
      const { estimate, upMs, degradedMs, downMs, outages, mutMs, mdtMs, mtbfMs } =
        availabilityOf(history);
      expect(mtbfMs).toBe(mutMs);
      if (outages === 0) expect([mutMs, mdtMs]).toEqual([null, null]);
      else if (estimate !== null) {
        const up = (upMs + degradedMs) / outages;
        expect(up / (up + downMs / outages)).toBeCloseTo(estimate, 12);
        expect(mutMs).toBe(Math.round(up));
      }
    }),
  );
});

test('the longest and the shortest outage bound the mean time to restoration, and each lies within its own bounds', () => {
  fc.assert(
    fc.property(histories, (history) => {
      const { longest, shortest, mttrMs, outages } = availabilityOf(history);
      for (const one of [longest, shortest]) {
        if (one === null) continue;
        expect(one.lowMs).toBeLessThanOrEqual(one.lengthMs);
        expect(one.lengthMs).toBeLessThanOrEqual(one.highMs);
      }
      expect(shortest?.open ?? false).toBe(false);
      if (outages > 0) expect(longest).not.toBeNull();
      if (longest && shortest) expect(shortest.lengthMs).toBeLessThanOrEqual(longest.lengthMs);
      if (mttrMs === null) return;
      expect(mttrMs).toBeGreaterThanOrEqual(shortest?.lengthMs ?? Number.POSITIVE_INFINITY);
      expect(mttrMs).toBeLessThanOrEqual(longest?.lengthMs ?? 0);
    }),
  );
});
