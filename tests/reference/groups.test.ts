/**
 * Services in series: A = ΠAᵢ where they fail independently. NIST/SEMATECH e-Handbook §8.1.8.2 and MIL-HDBK-338B §5 give
 * the form (section numbers from memory, no figure of theirs was seen); the figures are recomputed.
 */
import { expect, test } from 'vitest';
import type { Span } from '../../src/base/values.ts';
import type { History } from '../../src/uptime/evidence.ts';
import { groupAvailabilityOf } from '../../src/uptime/groups.ts';

/** Down for the first thousandth of each period of the window. */
function thousandth(periodMs: number, windowMs: number): History {
  const spans: Span[] = [];
  for (let at = 0; at < windowMs; at += periodMs) {
    const up = at + periodMs / 1_000;
    spans.push({ state: 'down', from: at, earliestFrom: at, to: up });
    spans.push({ state: 'up', from: up, earliestFrom: up, to: at + periodMs });
  }
  const window = { from: 0, to: windowMs };
  return { spans, outages: [], unconfirmed: [], planned: [], window, now: windowMs };
}

function together(histories: readonly History[], windowMs: number) {
  return groupAvailabilityOf(
    histories.map((history, nth) => ({ serviceId: `${nth}`, history })),
    { window: { from: 0, to: windowMs }, now: windowMs },
  );
}

// One fails in long periods and the other as often within each part of those: neither depends on the other.
test('B11: two at 0.999 that fail independently make 0.998001', () => {
  const windowMs = 1_000_000;
  const group = together([thousandth(windowMs, windowMs), thousandth(1_000, windowMs)], windowMs);
  expect(group).toMatchObject({ estimate: 0.998001, mean: 0.999 });
});

// IEV 192-03-18, common cause.
test('B14: on one host, where all fail together, they make no less than each alone', () => {
  const windowMs = 1_000_000;
  const all = Array.from({ length: 30 }, () => thousandth(10_000, windowMs));
  // Independent ones would make 0.9704309672630858.
  expect(together(all, windowMs)).toMatchObject({ estimate: 0.999, mean: expect.closeTo(0.999) });
});
