/** What the tests of telling share: a house of services that need each other, and changes in it. */
import type { Standing } from '../../src/base/standing.ts';
import type { Outage, ServiceCard, State, Trouble } from '../../src/base/values.ts';
import type { Change } from '../../src/judge/memory.ts';
import type { Notice } from '../../src/record/record.ts';

/** 2026-11-25T04:00:00Z. */
export const fourOClock = 1_795_579_200_000;

const refused: Trouble = {
  layer: 'port',
  reason: 'refused',
  detail: 'nothing listens on 192.0.2.7:5432',
  hint: 'Is the service started?',
};

export function card(id: string, more: Partial<ServiceCard> = {}): ServiceCard {
  const name = `${id.slice(0, 1).toUpperCase()}${id.slice(1).replaceAll('-', ' ')}`;
  return {
    id,
    name,
    group: null,
    kind: 'tcp',
    where: '192.0.2.7:5432',
    open: null,
    note: null,
    needs: [],
    through: [],
    objective: null,
    everyMs: 30_000,
    ...more,
  };
}

export function byId(...cards: readonly ServiceCard[]): ReadonlyMap<string, ServiceCard> {
  return new Map(cards.map((one) => [one.id, one]));
}

/** Failed at `at`, confirmed 5 s later. */
export function outage(serviceId: string, at: number, more: Partial<Outage> = {}): Outage {
  return {
    id: `${serviceId}.${at}`,
    serviceId,
    lastGoodAt: at - 30_000,
    firstFailedAt: at,
    confirmedAt: at + 5_000,
    lastFailedAt: at + 5_000,
    restoredAt: null,
    trouble: refused,
    causeId: null,
    ...more,
  };
}

export function change(
  serviceId: string,
  from: State,
  to: State,
  more: Partial<Change> & { trouble?: Trouble | null } = {},
): Change {
  const { trouble = to === 'up' ? null : refused, ...rest } = more;
  const decidedAt = rest.decidedAt ?? fourOClock + 5_000;
  return {
    serviceId,
    from,
    to,
    since: fourOClock,
    decidedAt,
    observation: {
      at: decidedAt,
      outcome: trouble ? 'failed' : 'answered',
      tookUs: 100,
      phases: {},
      trouble,
      facts: {},
    },
    outage: null,
    told: true,
    unsteadiness: null,
    ...rest,
  };
}

export function standing(state: State, open: Outage | null): Standing {
  return {
    state,
    since: fourOClock,
    suspect: false,
    unsteady: false,
    causeId: open?.causeId ?? null,
    hiddenBy: null,
    outage: open,
    last: null,
    pacedMs: 30_000,
  };
}

export function notice(id: string, more: Partial<Notice> = {}): Notice {
  return {
    id,
    type: 'rollcall.service.down',
    at: fourOClock,
    serviceId: 'order-book',
    outageId: 'order-book.1',
    notBefore: fourOClock,
    data: { summary: 'Order book is down.' },
    channels: ['phone'],
    ...more,
  };
}
