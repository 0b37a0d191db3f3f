/** Which month is meant, and what is read of the record for it. */
import { describe, expect, test } from 'vitest';
import type { ServiceCard } from '../../src/base/values.ts';
import { gatherReport, monthAsked, type ReportSource } from '../../src/report/gather.ts';
import { memoryRecord } from '../support/record-memory.ts';

const card: ServiceCard = {
  id: 'shop',
  name: 'Shop',
  group: null,
  kind: 'tcp',
  where: '192.0.2.10:80',
  open: null,
  note: null,
  needs: [],
  through: [],
  objective: 0.999,
  everyMs: 60_000,
};
const minuteMs = 60_000;
const december = Date.parse('2026-12-01T00:00:00Z');

/** Up since October; down since twenty minutes before December, and up again if `restoredAt` says so. */
async function sourceAt(
  now: number,
  { watchedUntil, restoredAt }: { watchedUntil?: number; restoredAt?: number } = {},
): Promise<ReportSource> {
  const record = memoryRecord();
  const up = Date.parse('2026-10-05T00:00:00Z');
  const down = december - 20 * minuteMs;
  await record.commit({
    observations: [],
    memories: [],
    spans: [
      {
        serviceId: 'shop',
        edits: [
          { state: 'up', from: up, earliestFrom: up },
          { state: 'down', from: down, earliestFrom: down },
          ...(restoredAt === undefined
            ? []
            : [{ state: 'up', from: restoredAt, earliestFrom: restoredAt } as const]),
        ],
      },
    ],
    outages: [
      {
        id: 'shop.1',
        serviceId: 'shop',
        lastGoodAt: down,
        firstFailedAt: down,
        confirmedAt: down + 5_000,
        lastFailedAt: down + 5_000,
        restoredAt: restoredAt ?? null,
        trouble: { layer: 'port', reason: 'refused', detail: 'refused', hint: 'look' },
        causeId: null,
      },
    ],
    unconfirmed: [],
    notices: [],
  });
  return {
    record,
    title: 'Fernhill Pottery',
    zone: 'Europe/Dublin',
    now,
    services: [
      { card, asking: { everyMs: minuteMs, confirm: 2, recheckMs: 5_000, timeoutMs: 5_000 } },
    ],
    openOf: () => null,
    watchedUntil: watchedUntil ?? null,
  };
}

describe('the month that is asked for', () => {
  const now = { now: Date.parse('2026-11-30T23:30:00Z'), zone: 'Europe/Berlin' };

  test('is the current one on the calendar of the zone, unless another is named', () => {
    expect(monthAsked(null, now)).toEqual({ month: '2026-12' });
    expect(monthAsked('2025-02', now)).toEqual({ month: '2025-02' });
  });

  test.each([
    ['2027-01', '2027-01 has not begun yet'],
    ['2026-13', 'expected a month such as 2026-12, not "2026-13"'],
    ['', 'expected a month such as 2026-12, not ""'],
  ])('%j is refused', (text, complaint) => {
    expect(monthAsked(text, now)).toEqual({ complaint });
  });
});

test('for what burns in the first minute of a month the end of the month before is read as well', async () => {
  const source = await sourceAt(december + minuteMs, { restoredAt: december - 10_000 });
  const { services } = await gatherReport(source, '2026-12');
  expect(services[0]).toMatchObject({ figures: { downMs: 0, estimate: 1 }, outages: [] });
  // Twenty minutes of the last hour, and most of the last five minutes.
  expect(services[0]?.burning?.rate).toBe(14.4);
});

test('a month before the record began is unobserved as a whole', async () => {
  const report = await gatherReport(await sourceAt(december), '2026-09');
  expect(report.services[0]).toMatchObject({ figures: { estimate: null }, budget: null });
  expect(report).toMatchObject({ over: true, totals: { outages: 0 } });
});

test('where nobody has watched since, nothing is down or up any more', async () => {
  const left = await sourceAt(december + 60 * minuteMs, { watchedUntil: december + 10 * minuteMs });
  const { services } = await gatherReport(left, '2026-12');
  expect(services[0]?.figures).toMatchObject({
    downMs: 10 * minuteMs,
    unobservedMs: 50 * minuteMs,
  });
});
