/** A November of the pottery studio, worked out by hand: who failed when, and what nobody watched. */
import type { Outage, ServiceCard } from '../../src/base/values.ts';
import { monthReport } from '../../src/report/month.ts';
import type { History } from '../../src/uptime/evidence.ts';
import { history } from '../uptime/course.ts';

const zone = 'Europe/Dublin';
const beginsAt = Date.parse('2026-11-01T00:00:00Z');
export const hourS = 3_600;
export const dayS = 24 * hourS;

/** An instant of the month, in seconds from its beginning. */
export const at = (seconds: number) => beginsAt + seconds * 1_000;

interface Member {
  readonly card: Partial<ServiceCard> & { readonly id: string; readonly name: string };
  /** Seconds from the beginning of the month. */
  readonly course: string;
  readonly unconfirmed?: Parameters<typeof history>[1]['unconfirmed'];
  readonly outage?: Partial<Outage>;
}

const members: readonly Member[] = [
  {
    card: { id: 'order-book', name: 'Order book', group: 'Data', objective: 0.995 },
    course: `up 0 | down ${dayS}<${dayS - 60} | up ${dayS + hourS}<${dayS + hourS - 60} | down@nas ${10 * dayS} | up ${10 * dayS + 600}`,
    unconfirmed: [[3 * dayS - 30, 3 * dayS, 3 * dayS, 3 * dayS + 5]],
    outage: {
      trouble: {
        layer: 'port',
        reason: 'refused',
        detail: 'nothing listens on db.fernhill.home.arpa:5432',
        hint: 'look',
      },
    },
  },
  {
    card: { id: 'stock-list', name: 'Stock list, "old"', group: 'Data', objective: 0.999 },
    course: `up 0 | down ${24 * dayS} `,
  },
  {
    card: { id: 'nas', name: '<b>NAS</b> & friends', group: 'House' },
    course: `up 0 | unobserved ${5 * dayS} | up ${6 * dayS}`,
  },
  { card: { id: 'notes', name: 'Glaze notes' }, course: 'up 0' },
];

function historyOf({ course, unconfirmed, outage }: Member, nowS: number): History {
  const given = history(course, {
    window: [0, 30 * dayS],
    now: nowS,
    lastFailed: nowS - 60,
    ...(unconfirmed && { unconfirmed }),
  });
  // The courses are told in seconds of the month.
  const moved = <Value extends object>(value: Value): Value =>
    Object.fromEntries(
      Object.entries(value).map(([name, each]) => [
        name,
        typeof each === 'number' ? each + beginsAt : each,
      ]),
    ) as Value;
  return {
    spans: given.spans.map(moved),
    outages: given.outages.map((one) => ({ ...moved(one), ...outage })),
    unconfirmed: given.unconfirmed.map(moved),
    planned: [],
    window: moved(given.window),
    now: at(nowS),
  };
}

/** As it stands `nowS` after the beginning of the month. */
export function novemberAt(nowS: number, month = '2026-11') {
  return monthReport({
    jobs: [],
    title: 'Fernhill Pottery',
    month,
    zone,
    now: at(nowS),
    services: members.map((member) => ({
      card: {
        group: null,
        kind: 'tcp',
        where: '192.0.2.10:80',
        open: null,
        note: 'Under the stairs.',
        needs: [],
        through: [],
        objective: null,
        everyMs: 60_000,
        ...member.card,
      },
      asking: { everyMs: 60_000, confirm: 2, recheckMs: 5_000, timeoutMs: 5_000 },
      history: historyOf(member, nowS),
    })),
  });
}
