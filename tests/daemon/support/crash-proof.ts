/** What must be so of a record after any kill, and at the end: sentences about what is not. */
import type { Outage, Span } from '../../../src/base/values.ts';
import { graceMs } from '../../../src/judge/policy.ts';
import type { Member } from './crash-cast.ts';
import type { Arrival } from './crash-receiver.ts';
import type { Held, OutageHeld } from './crash-record.ts';

export const everyMs = 1_000;
export const timeoutMs = 900;
/** Longer without an answer is a gap: from the first missed due time on nobody knows. */
const gapMs = everyMs + graceMs(everyMs) + timeoutMs;

/** A change that the daemon logged, which it does when it is in the record. */
export interface LoggedChange {
  readonly service: string;
  readonly to: string;
  readonly since: number;
}

/** No process was there. */
export interface Absence {
  readonly from: number;
  readonly to: number;
}

export interface Evidence {
  readonly members: readonly Member[];
  readonly arrivals: readonly Arrival[];
  readonly logged: readonly LoggedChange[];
  readonly absences: readonly Absence[];
}

const down = 'rollcall.service.down';
const up = 'rollcall.service.up';

/** At any time. `before`: what was held after the kill before. */
export function contradictions(held: Held, before: Held | null, evidence: Evidence): string[] {
  return [
    ...held.faults,
    ...evidence.members.flatMap(({ id, needs }) => [
      ...spanFaults(id, spansOf(held, id)),
      ...outagesOf(held, id).flatMap((one) => [
        ...outageFaults(one.outage, spansOf(held, id)),
        ...(needs === null ? noticeFaults(one) : []),
      ]),
      ...overlapFaults(id, outagesOf(held, id)),
    ]),
    ...forgotten(held, before),
    ...unrecorded(held, evidence.logged),
    ...arrivalFaults(held, evidence.arrivals),
  ];
}

function spansOf(held: Held, id: string): readonly Span[] {
  return held.spans.get(id) ?? [];
}
function outagesOf(held: Held, id: string): readonly OutageHeld[] {
  return held.outages.get(id) ?? [];
}
function ofType({ notices }: OutageHeld, type: string) {
  return notices.filter(({ notice }) => notice.type === type);
}
function allOutages(held: Held): OutageHeld[] {
  return [...held.outages.values()].flat();
}

function spanFaults(id: string, spans: readonly Span[]): string[] {
  return spans.flatMap((span, nth) => {
    const next = spans[nth + 1];
    if (span.to !== (next?.from ?? null)) return [`${id}: span ${nth} ends where none begins`];
    return span.state === next?.state ? [`${id}: two spans ${span.state} in a row`] : [];
  });
}

function outageFaults(outage: Outage, spans: readonly Span[]): string[] {
  const { id, lastGoodAt, firstFailedAt, confirmedAt, lastFailedAt, restoredAt } = outage;
  const course = [lastGoodAt ?? 0, firstFailedAt, confirmedAt, lastFailedAt];
  if (restoredAt !== null) course.push(restoredAt);
  const end = restoredAt ?? Number.POSITIVE_INFINITY;
  const inside = spans.filter(({ from, to }) => from < end && (to ?? end) > firstFailedAt);
  const faults = [];
  if (course.some((at, nth) => at < (course[nth - 1] ?? 0))) faults.push(`${id}: out of order`);
  if (inside.some(({ state }) => state === 'up' || state === 'degraded')) {
    faults.push(`${id}: up in the midst of it`);
  }
  if (!inside.some(({ state, from }) => state === 'down' && from === firstFailedAt)) {
    faults.push(`${id}: nothing is down from its begin`);
  }
  return faults;
}

function overlapFaults(id: string, outages: readonly OutageHeld[]): string[] {
  return outages.flatMap(({ outage }, nth) => {
    const next = outages[nth + 1]?.outage;
    if (!next) return [];
    const end = outage.restoredAt ?? Number.POSITIVE_INFINITY;
    return end > next.firstFailedAt ? [`${id}: ${outage.id} was not over when the next began`] : [];
  });
}

/** A change and its notice are one: one message at its begin, and one at its end. */
function noticeFaults(held: OutageHeld): string[] {
  const { outage } = held;
  const counts = [ofType(held, down).length, ofType(held, up).length].join(' and ');
  const wanted = outage.restoredAt === null ? '1 and 0' : '1 and 1';
  return counts === wanted ? [] : [`${outage.id}: notices down and up ${counts}, not ${wanted}`];
}

/** What was held once stays. */
function forgotten(held: Held, before: Held | null): string[] {
  if (before === null) return [];
  const now = new Map(allOutages(held).map((one) => [one.outage.id, one]));
  return allOutages(before).flatMap(({ outage, notices }) => {
    const kept = now.get(outage.id);
    if (!kept) return [`${outage.id}: lost`];
    const ids = new Set(kept.notices.map(({ notice }) => notice.id));
    const lost = notices.filter(({ notice }) => !ids.has(notice.id));
    return [
      ...lost.map(({ notice }) => `${outage.id}: its notice ${notice.id} is lost`),
      ...(outage.restoredAt !== null && kept.outage.restoredAt !== outage.restoredAt
        ? [`${outage.id}: its end is lost`]
        : []),
    ];
  });
}

function unrecorded(held: Held, logged: readonly LoggedChange[]): string[] {
  return logged.flatMap(({ service, to, since }) =>
    spansOf(held, service).some(({ state, from }) => state === to && from === since)
      ? []
      : [`${service}: was said to be ${to} since ${since}, which is not in the record`],
  );
}

/** Whoever was told was told of something in the record; and what counts as delivered was. */
function arrivalFaults(held: Held, arrivals: readonly Arrival[]): string[] {
  const reports = allOutages(held).flatMap(({ notices }) => notices);
  const known = new Map(reports.map(({ notice }) => [notice.id, notice]));
  const taken = new Set(arrivals.filter((one) => one.taken).map(({ event }) => event.id));
  const bodies = new Map<string, string>();
  const faults: string[] = [];
  for (const { event, webhookId, body } of arrivals) {
    const notice = known.get(event.id);
    if (webhookId !== event.id) faults.push(`${event.id} came as ${webhookId}`);
    if (!notice) faults.push(`${event.id} (${event.type}) came, and is not in the record`);
    else if (notice.type !== event.type || notice.outageId !== event.data.outage?.id) {
      faults.push(`${event.id} came as something else than it is in the record`);
    }
    if ((bodies.get(event.id) ?? body) !== body) faults.push(`${event.id} came with two bodies`);
    bodies.set(event.id, body);
  }
  for (const { notice, state } of reports) {
    if (state === 'delivered' && !taken.has(notice.id)) {
      faults.push(`${notice.id} counts as delivered, and never came`);
    }
  }
  return faults;
}

/** When all is up again and nothing waits. */
export function contradictionsAtTheEnd(held: Held, evidence: Evidence): string[] {
  return [
    ...allOutages(held).flatMap((one) => untold(one, evidence.arrivals)),
    ...evidence.members.flatMap((member) => [
      ...wrongTime(member, spansOf(held, member.id), evidence.absences),
      ...(member.restless && outagesOf(held, member.id).length === 0
        ? [`${member.id}: no outage at all`]
        : []),
    ]),
  ];
}

/** Who heard of an outage hears of its end, in this order; nothing waits, and nothing is given up. */
function untold(held: OutageHeld, arrivals: readonly Arrival[]): string[] {
  const { outage, notices } = held;
  const faults = notices
    .filter(({ state }) => state === 'waiting' || state === 'dead')
    .map(({ notice, state }) => `${outage.id}: ${notice.type} is ${state}`);
  if (outage.restoredAt === null) faults.push(`${outage.id}: not over`);
  const told = ofType(held, down).filter(({ state }) => state === 'delivered');
  const ends = ofType(held, up).filter(({ state }) => state === 'delivered');
  if (ends.length !== Math.min(told.length, 1)) {
    faults.push(`${outage.id}: ${told.length} told of its begin, ${ends.length} of its end`);
  }
  const firstTaken = (id: string) =>
    arrivals.findIndex(({ event, taken }) => taken && event.id === id);
  for (const end of ends) {
    const endCame = arrivals.findIndex(({ event }) => event.id === end.notice.id);
    if (told.some(({ notice }) => firstTaken(notice.id) > endCame)) {
      faults.push(`${outage.id}: its end was told before its begin`);
    }
  }
  return faults;
}

/** An exchange may have begun this long before it met the service as it was. */
const exchangeMs = timeoutMs;
/** Up until it is seen to fail, or until the due time that was missed after a failure that nothing confirmed. */
const upTooLongMs = gapMs + everyMs + exchangeMs;
/** Down until it is seen to serve, or until the due time that was missed. */
const downTooLongMs = gapMs + exchangeMs;

/** The record against the truth. */
function wrongTime(
  { id, truth }: Member,
  spans: readonly Span[],
  absences: readonly Absence[],
): string[] {
  return spans.flatMap(({ state, from, to }) => {
    const range = { from, to: to ?? Number.POSITIVE_INFINITY };
    if (state === 'unobserved') return [];
    const wrong = truth.flatMap(({ at, serves }, nth) => {
      const isRight = serves === (state === 'up');
      const ms = overlapMs(range, { from: at, to: truth[nth + 1]?.at ?? Date.now() });
      if (isRight || ms <= (state === 'up' ? upTooLongMs : downTooLongMs)) return [];
      return [`${id}: ${state} for ${ms} ms, though it was not, from ${Math.max(from, at)}`];
    });
    const blind = absences.flatMap((absence) => {
      if (absence.to - absence.from <= gapMs) return [];
      const ms = overlapMs(range, { from: absence.from + everyMs, to: absence.to });
      return ms > 0 ? [`${id}: ${state}, though nobody looked, at ${absence.from}`] : [];
    });
    return [...wrong, ...blind];
  });
}

function overlapMs(one: Absence, other: Absence): number {
  return Math.min(one.to, other.to) - Math.max(one.from, other.from);
}
