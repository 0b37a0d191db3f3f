/** Courses of events at random, in single milliseconds, so that a model can look at each of them. */
import fc from 'fast-check';
import type { Span, UnconfirmedFailure } from '../../src/base/values.ts';
import type { History } from '../../src/uptime/evidence.ts';
import { outagesOf } from './course.ts';

const nowMax = 400;

const piece = fc.record({
  state: fc.constantFrom('up', 'up', 'degraded', 'down', 'down', 'unobserved' as const),
  lengthMs: fc.integer({ min: 1, max: 40 }),
  // Also less than nothing, and more than the span before lasted: neither may break the sums.
  doubtMs: fc.integer({ min: -5, max: 50 }),
  causeId: fc.constantFrom(null, 'nas'),
  holeMs: fc.constantFrom(0, 0, 0, 5),
});

export const interval = fc
  .tuple(fc.integer({ min: 0, max: nowMax }), fc.integer({ min: 0, max: 60 }))
  .map(([from, lengthMs]) => ({ from, to: from + lengthMs }));

export const failure = fc
  .tuple(fc.nat(nowMax), fc.nat(20), fc.nat(10), fc.integer({ min: 1, max: 20 }), fc.boolean())
  .map(
    ([firstFailedAt, before, during, after, known]): UnconfirmedFailure => ({
      serviceId: 'order-book',
      lastGoodAt: known ? firstFailedAt - before : null,
      firstFailedAt,
      lastFailedAt: firstFailedAt + during,
      nextGoodAt: firstFailedAt + during + after,
    }),
  );

const course = fc.record({
  pieces: fc.array(piece, { maxLength: 12 }),
  startsAt: fc.nat(50),
  lasts: fc.boolean(),
  quietMs: fc.nat(30),
  window: interval.map(({ from, to }) => ({ from, to: to + 200 })),
  planned: fc.array(interval, { maxLength: 3 }),
  unconfirmed: fc.array(failure, { maxLength: 3 }),
});

/** A service's history of at most 400 ms, with a window somewhere about it. */
export const histories = course.map(({ pieces, startsAt, lasts, quietMs, ...rest }): History => {
  let at = startsAt;
  const spans: Span[] = pieces.map(({ state, lengthMs, doubtMs, holeMs }) => {
    const from = at + holeMs;
    at = from + lengthMs;
    return { state, from, earliestFrom: from - doubtMs, to: at };
  });
  const last = spans.at(-1);
  if (lasts && last !== undefined) spans[spans.length - 1] = { ...last, to: null };
  const causeIds = pieces.map(({ causeId }) => causeId);
  return { ...rest, spans, outages: outagesOf(spans, causeIds, at - quietMs), now: at };
});
