/**
 * What planned time does to what is told of a change. Pure but for one memory, which may be lost: a wrapper around the
 * drafter's edits.
 *
 * - `down`, and that a service is unsteady in its place, is held until the planned time is over. Where the service comes up before, the record withdraws it (`restore`)
 *   and tells nobody; where it does not, it is told then, and says so.
 * - Who was told of an outage before the planned time began is told of its end, also within it.
 * - Other single changes are not told. What is not as it was at the end is told then (`planned-notices.ts`).
 */
import { unsteadyType } from '../base/notice-types.ts';
import type { Notice, NoticeEdit } from '../record/record.ts';
import { sayPlanned } from './planned-sentences.ts';

const down = 'rollcall.service.down';
const degraded = 'rollcall.service.degraded';
const unobserved = 'rollcall.service.unobserved';
const up = 'rollcall.service.up';

/** @param until When the planned time of a service in which the instant lies is over; null: it lies in none. */
export function plannedHold(
  until: (serviceId: string, at: number) => number | null,
): (edits: readonly NoticeEdit[]) => readonly NoticeEdit[] {
  /** Services whose last single change nobody was told of: that it is over is no news either. */
  const untold = new Set<string>();

  return (edits) =>
    edits.flatMap((edit) => {
      if (edit.kind !== 'add') return [edit];
      const { serviceId, at, type } = edit.notice;
      const end = serviceId === null ? null : until(serviceId, at);
      if (end !== null) return inPlannedTime(edit, end, untold);
      // Out of planned time what is told is told, and known from then on.
      if (type === degraded || type === unobserved) untold.delete(serviceId ?? '');
      return [edit];
    });
}

function inPlannedTime(
  edit: NoticeEdit & { kind: 'add' },
  end: number,
  untold: Set<string>,
): readonly NoticeEdit[] {
  const { notice } = edit;
  const serviceId = notice.serviceId ?? '';
  switch (notice.type) {
    case down:
    case unsteadyType:
      return beganOutage(notice) ? [{ ...edit, notice: held(notice, end) }] : [];
    case degraded:
    case unobserved:
      untold.add(serviceId);
      // Better than down, and no longer down: as if it had come up.
      return notice.type === degraded && notice.outageId !== null
        ? [{ ...edit, kind: 'restore', outageId: notice.outageId }]
        : [];
    case up:
      // An outage's own end goes by what the record knows of its begin; on other channels nobody knows of either.
      if (notice.outageId !== null) return [];
      return untold.delete(serviceId) ? [] : [edit];
    default:
      return [edit];
  }
}

/** That it is unsteady without being down is said at the next setback, as to all who do not know it yet. */
function beganOutage({ type, outageId }: Notice): boolean {
  return type === down || outageId !== null;
}

function held(notice: Notice, end: number): Notice {
  const summary = sayPlanned({ kind: 'over', name: nameIn(notice), summary: notice.data.summary });
  return {
    ...notice,
    notBefore: Math.max(notice.notBefore, end),
    data: { ...notice.data, summary },
  };
}

/** As the event says it. */
function nameIn({ data, serviceId }: Notice): string {
  const { service } = data;
  const isNamed = typeof service === 'object' && service !== null && 'name' in service;
  return isNamed && typeof service.name === 'string' ? service.name : (serviceId ?? '');
}

/** What is held moves along where planned time is over at another instant than before. */
export function heldMoves(
  serviceIds: readonly string[],
  untilBefore: (serviceId: string) => number | null,
  untilAfter: (serviceId: string) => number,
): readonly NoticeEdit[] {
  const moves = new Map<string, { from: number; to: number; serviceIds: string[] }>();
  for (const id of serviceIds) {
    const [from, to] = [untilBefore(id), untilAfter(id)];
    if (from === null || from === to) continue;
    const key = `${from} ${to}`;
    const move = moves.get(key) ?? { from, to, serviceIds: [] };
    move.serviceIds.push(id);
    moves.set(key, move);
  }
  return [...moves.values()].map((move) => ({ kind: 'hold', ...move }));
}
