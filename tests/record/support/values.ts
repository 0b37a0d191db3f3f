/** Values that the tests of the record put in and expect back. */
import { meaningOf } from '../../../src/base/reasons.ts';
import type { Observation, Outage, Trouble, UnconfirmedFailure } from '../../../src/base/values.ts';
import type { Memory } from '../../../src/judge/memory.ts';
import { steady } from '../../../src/judge/unsteady.ts';
import type { Attempt, ChangeSet, Notice, Pulse } from '../../../src/record/record.ts';

/** 2026-11-25T04:00:00Z. */
export const t0 = 1_795_579_200_000;
export const second = 1_000;
export const minute = 60_000;
export const hour = 3_600_000;

export const always = { from: 0, to: Number.POSITIVE_INFINITY };

const refused: Trouble = {
  layer: 'port',
  reason: 'refused',
  detail: 'nothing listens on 192.0.2.7:5432',
  hint: meaningOf('refused').hint,
};

export function answered(at: number, more: Partial<Observation> = {}): Observation {
  return { at, outcome: 'answered', tookUs: 412, phases: {}, trouble: null, facts: {}, ...more };
}

export function failed(at: number, more: Partial<Observation> = {}): Observation {
  return { ...answered(at), outcome: 'failed', trouble: refused, ...more };
}

export function memory(more: Partial<Memory> = {}): Memory {
  return {
    state: 'up',
    since: t0,
    observed: 'up',
    unobservedBy: null,
    fingerprint: 'f1',
    everAnswered: true,
    lastAt: t0,
    dueInMs: minute,
    lastGoodAt: t0,
    failedRun: null,
    poorRun: null,
    unprovenRun: null,
    servedRun: { count: 3, firstAt: t0 - minute, lastAt: t0 },
    goodRun: { count: 3, firstAt: t0 - minute, lastAt: t0 },
    outage: null,
    steadiness: steady,
    ...more,
  };
}

export function outage(serviceId: string, at: number, more: Partial<Outage> = {}): Outage {
  return {
    id: `${serviceId}.${at}`,
    serviceId,
    lastGoodAt: at - 30 * second,
    firstFailedAt: at,
    confirmedAt: at + 5 * second,
    lastFailedAt: at + 5 * second,
    restoredAt: null,
    trouble: refused,
    causeId: null,
    ...more,
  };
}

export function unconfirmedFailure(serviceId: string, at: number): UnconfirmedFailure {
  return {
    serviceId,
    lastGoodAt: at - 30 * second,
    firstFailedAt: at,
    lastFailedAt: at,
    nextGoodAt: at + 5 * second,
  };
}

export function notice(id: string, more: Partial<Notice> = {}): Notice {
  return {
    id,
    type: 'rollcall.service.down',
    at: t0,
    serviceId: 'order-book',
    outageId: 'order-book.1',
    notBefore: t0,
    data: { summary: 'Order book is down: nothing listens on 192.0.2.7:5432.', affected: ['shop'] },
    channels: ['phone'],
    ...more,
  };
}

export function attempt(noticeId: string, more: Partial<Attempt> = {}): Attempt {
  return {
    noticeId,
    channel: 'phone',
    at: t0 + second,
    tookMs: 25,
    status: 204,
    detail: 'no content',
    next: { state: 'delivered' },
    ...more,
  };
}

export function pulse(wallMs: number): Pulse {
  return {
    wallMs,
    bootMs: wallMs - t0 + 60_000.25,
    bootId: '8f6f1c1e-0000-4000-8000-000000000000',
  };
}

export function changes(more: Partial<ChangeSet>): ChangeSet {
  return {
    observations: [],
    memories: [],
    spans: [],
    outages: [],
    unconfirmed: [],
    notices: [],
    ...more,
  };
}
