/** The digests of a pottery studio in Dublin, word for word, over the end of summer time (25 October 2026, 01:00 UTC). */
import { expect, test } from 'vitest';
import { digestEntriesCountMax } from '../../src/base/limits.ts';
import type { Outage, ServiceCard } from '../../src/base/values.ts';
import { sayMoment, sinceDay } from '../../src/report/days.ts';
import { digestOf } from '../../src/report/digest.ts';
import { monthIn, weekBefore } from '../../src/uptime/calendar.ts';
import type { History } from '../../src/uptime/evidence.ts';
import { card } from '../support/telling.ts';
import { history } from '../uptime/course.ts';

const zone = 'Europe/Dublin';
const title = 'Fernhill Pottery';
const instant = (text: string) => Date.parse(text);
/** Courses are told in seconds from here. */
const origin = instant('2026-09-01T00:00:00Z');
const seconds = (text: string) => (instant(text) - origin) / 1_000;

function pastOf(course: string, now: number, outage: Partial<Outage> = {}): History {
  const nowS = (now - origin) / 1_000;
  const given = history(course, { window: [0, nowS], now: nowS });
  const moved = <Value extends object>(value: Value): Value =>
    Object.fromEntries(
      Object.entries(value).map(([name, each]) => [
        name,
        typeof each === 'number' ? each + origin : each,
      ]),
    ) as Value;
  return {
    spans: given.spans.map(moved),
    outages: given.outages.map((one) => ({ ...moved(one), ...outage })),
    unconfirmed: [],
    planned: [],
    window: moved(given.window),
    now,
  };
}

const asking = { everyMs: 60_000, confirm: 2, recheckMs: 5_000, timeoutMs: 5_000 };
const member = (one: ServiceCard, course: string, now: number, outage: Partial<Outage> = {}) => ({
  card: one,
  asking,
  history: pastOf(course, now, outage),
});

const shop = card('shop', { objective: 0.995, needs: ['nas'] });
const nas = card('nas', { name: 'NAS' });
const trouble = {
  layer: 'port',
  reason: 'refused',
  detail: 'nothing listens on nas.fernhill.home.arpa:445.',
  hint: 'Is it started?',
} as const;

const octoberEnds = instant('2026-11-01T08:00:00Z');
const quietMonth = {
  period: 'month' as const,
  whole: monthIn('2026-10', zone),
  title,
  zone,
  now: octoberEnds,
  services: [member(shop, 'up 0', octoberEnds), member(nas, 'up 0', octoberEnds)],
  certificates: [],
  jobs: [],
};

test('a month in which nothing happened is two lines', () => {
  const digest = digestOf(quietMonth);
  expect(digest.text).toBe(
    'Fernhill Pottery, October 2026: no outage.\nAll 2 services were up 100 % of the time.',
  );
  expect(digest).toMatchObject({
    summary: 'Fernhill Pottery, October 2026: no outage.',
    period: 'month',
    // Irish summer time begins the month, and it ends without it: 31 days and an hour.
    from: '2026-09-30T23:00:00.000Z',
    to: '2026-11-01T00:00:00.000Z',
    servicesCount: 2,
    outagesCount: 0,
    services: [],
    outages: [],
    certificates: [],
  });
});

test('and two lines when a certificate ends next, or something was not watched', () => {
  const certificates = [
    { serviceId: 'nas', name: 'NAS', endsAt: octoberEnds + 60 * 86_400_000 },
    { serviceId: 'shop', name: 'Shop', endsAt: instant('2026-11-14T09:14:00Z') },
  ];
  const unwatched = `up 0 | unobserved ${seconds('2026-10-10T10:00:00Z')} | up ${seconds('2026-10-10T12:00:00Z')}`;
  const services = [member(shop, unwatched, octoberEnds), member(nas, 'up 0', octoberEnds)];
  expect(digestOf({ ...quietMonth, services, certificates }).text).toBe(
    'Fernhill Pottery, October 2026: no outage.\nAll 2 services were up 100 % of the time. Up to 2 h of it were not observed. Certificates that end next: Shop on 14 November.',
  );
});

test('jobs that did not go well are said, with how often, also where nothing else happened', () => {
  const backup = card('backup', { name: 'Nightly backup', kind: 'job' });
  const counts = { runsCount: 0, failedCount: 0, overdueCount: 0, hangingCount: 0 };
  const services = [...quietMonth.services, member(backup, 'up 0', octoberEnds)];
  const jobs = [
    { ...counts, jobId: 'backup', name: 'Nightly backup', failedCount: 2, overdueCount: 1 },
    { ...counts, jobId: 'import', name: 'Stock import', hangingCount: 1_024 },
  ];
  const digest = digestOf({ ...quietMonth, services, jobs });
  expect(digest.text).toBe(
    [
      'Fernhill Pottery, October 2026: no outage.',
      'All 2 services and one job were up 100 % of the time.',
      '',
      'Jobs that did not go well:',
      '- Nightly backup: failed twice, was overdue once',
      '- Stock import: hung 1,024 times',
      '',
      'Budgets, over 30 days:',
      '- Shop: objective 99.50 %: 3 h 36 min left of 3 h 36 min',
    ].join('\n'),
  );
  expect(digest).toMatchObject({ servicesCount: 2, jobsCount: 1 });
  expect(digest.jobs[0]).toEqual({
    ...{ job: 'backup', name: 'Nightly backup', failed: 2, overdue: 1, hanging: 0 },
  });
  const many = Array.from({ length: 40 }, () => ({
    ...counts,
    jobId: 'a',
    name: 'A',
    failedCount: 1,
  }));
  const long = digestOf({ ...quietMonth, services, jobs: many });
  expect(long.jobs).toHaveLength(digestEntriesCountMax);
  expect(long.text).toContain(`- and ${40 - digestEntriesCountMax} more jobs`);
});

const mondayAfter = instant('2026-10-26T08:00:00Z');
/** Two outages around the change of the clock, the first of them behind the NAS. */
const first = [seconds('2026-10-24T23:30:00Z'), seconds('2026-10-25T00:30:00Z')] as const;
const second = [seconds('2026-10-25T13:00:00Z'), seconds('2026-10-25T13:20:00Z')] as const;
const badWeek = {
  ...quietMonth,
  period: 'week' as const,
  whole: weekBefore(mondayAfter, zone),
  now: mondayAfter,
  services: [
    member(
      shop,
      `up 0 | down@nas ${first[0]} | up ${first[1]} | down ${second[0]} | up ${second[1]}`,
      mondayAfter,
    ),
    member(nas, `up 0 | down ${first[0]} | up ${first[1]}`, mondayAfter, {
      serviceId: 'nas',
      trouble,
    }),
  ],
  certificates: [{ serviceId: 'shop', name: 'Shop', endsAt: instant('2026-11-14T09:14:00Z') }],
};

test('a week with outages says what was down and why, what is left, and what ends next', () => {
  const digest = digestOf(badWeek);
  expect(digest.text.split('\n')).toEqual([
    'Fernhill Pottery, the week from 19 October: 3 outages, 2 h 20 min in all.',
    'All 2 services were up 99.21 % of the time.',
    '',
    'What was down:',
    '- Sun 25 Oct, 00:30: NAS, for 1 h: nothing listens on nas.fernhill.home.arpa:445; Shop was down with it',
    '- Sun 25 Oct, 13:00: Shop, for 20 min: refused',
    '',
    'Mean time to restoration: Shop 40 min and NAS 1 h.',
    '',
    'Budgets, over 30 days:',
    '- Shop: objective 99.50 %: 2 h 16 min left of 3 h 36 min',
    '',
    'Certificates that end next: Shop on 14 November.',
  ]);
  expect(digest).toMatchObject({
    summary: 'Fernhill Pottery, the week from 19 October: 3 outages, 2 h 20 min in all.',
    period: 'week',
    // Seven days and an hour.
    from: '2026-10-18T23:00:00.000Z',
    to: '2026-10-26T00:00:00.000Z',
    outagesCount: 3,
    downMs: 8_400_000,
    services: [
      { id: 'shop', outages: 2, downMs: 4_800_000, mttrMs: 2_400_000 },
      { id: 'nas', outages: 1, downMs: 3_600_000, mttrMs: 3_600_000 },
    ],
    outages: [
      { service: 'shop', beganAt: '2026-10-24T23:30:00.000Z', downMs: 3_600_000, cause: 'nas' },
      { service: 'nas', endedAt: '2026-10-25T00:30:00.000Z', cause: null, reason: 'refused' },
      { service: 'shop', beganAt: '2026-10-25T13:00:00.000Z', downMs: 1_200_000, cause: null },
    ],
    budgets: [{ service: 'shop', objective: 0.995, allowedMs: 12_960_000, leftMs: 8_160_000 }],
    certificates: [{ service: 'shop', endsAt: '2026-11-14T09:14:00.000Z' }],
  });
  expect(JSON.parse(JSON.stringify(digest))).toEqual(digest);
});

test('where the cause is not in the digest, the outage behind it is told itself', () => {
  const [services] = [badWeek.services.slice(0, 1)];
  expect(digestOf({ ...badWeek, services }).text).toContain(
    '- Sun 25 Oct, 00:30: Shop, for 1 h: refused; it needs nas, which was down\n',
  );
});

test('an outage that began before and goes on is none of this week, but its down time is', () => {
  const course = `up 0 | down ${seconds('2026-10-10T12:00:00Z')}`;
  const services = [member(nas, course, mondayAfter, { trouble })];
  const { text, summary } = digestOf({ ...badWeek, services, certificates: [] });
  expect(summary).toBe(
    'Fernhill Pottery, the week from 19 October: no new outage, 7 days 1 h of an earlier one.',
  );
  expect(text).toContain('- Sat 10 Oct, 13:00: NAS, for 15 days 20 h so far');
});

test('of very many outages some are told and the rest is counted', () => {
  const pieces = Array.from({ length: 30 }, (_, nth) => {
    const from = seconds('2026-10-20T00:00:00Z') + nth * 3_600;
    return `down ${from} | up ${from + 60}`;
  });
  const services = [member(nas, `up 0 | ${pieces.join(' | ')}`, mondayAfter, { trouble })];
  const digest = digestOf({ ...badWeek, services, certificates: [] });
  expect(digest.text).toContain('- and 10 more outages');
  expect(digest.outages).toHaveLength(20);
  expect(digest.outagesCount).toBe(30);
});

test('days are said as people say them', () => {
  const now = instant('2026-11-30T12:00:00Z');
  expect(sinceDay(instant('2026-11-24T13:00:00Z'), now, zone)).toBe('Tuesday');
  expect(sinceDay(instant('2026-11-24T11:00:00Z'), now, zone)).toBe('24 November');
  expect(sayMoment(instant('2026-07-05T23:30:00Z'), zone)).toBe('Mon 6 Jul, 00:30');
});
