/**
 * Which messages are due of a service that stands for itself, when a service that changes too often is told of once: worked
 * out again from the list of all its changes, from the beginning each time, in the units of RFC 7196 (table 1).
 */
import type { HappenedChange } from '../../src/base/happenings.ts';
import type { State } from '../../src/base/values.ts';

/** An answer, the change that it decided, and how the service stood after it. */
export interface Event {
  readonly service: string;
  readonly at: number;
  readonly state: State;
  readonly isUnsteady: boolean;
  readonly change: HappenedChange | null;
}

export interface Due {
  readonly word: State | 'unsteady' | 'steady';
  /** Of the outage that it is about. */
  readonly outageId: string | null;
}

interface Points {
  readonly at: number;
  readonly count: number;
}

const suppress = 1_500;
const reuse = 750;
const most = 4_500;
const perSecond = Math.LN2 / (15 * 60);

/** All points so far, as they weigh at an instant. */
function merit(all: readonly Points[], at: number): number {
  let sum = 0;
  let from = 0;
  for (const one of all) {
    sum = Math.min(sum * Math.exp((-(one.at - from) / 1_000) * perSecond) + one.count, most);
    from = one.at;
  }
  return sum * Math.exp((-(at - from) / 1_000) * perSecond);
}

/** `events` of one service, in order. */
export function messagesDue(events: readonly Event[]): readonly Due[] {
  const due: Due[] = [];
  const points: Points[] = [];
  /** What is known of it, whether somebody was told or not. */
  let known: State = 'up';
  let outageId: string | null = null;
  let isUnsteady = false;
  for (const { at, state, change } of events) {
    const isNews = change !== null && change.to !== known;
    const wasOpen = outageId !== null;
    const concerned = isNews && change.to !== 'unobserved' ? change.outageId : null;
    if (change?.to === 'down') outageId = change.outageId;
    if (change?.to === 'up' || change?.to === 'degraded') outageId = null;
    if (isNews) known = change.to;

    const left = merit(points, at);
    const count = isNews ? pointsFor(change.to, wasOpen) : 0;
    if (count > 0) points.push({ at, count });
    const sum = merit(points, at);
    const isProved = state !== 'unobserved' || known === 'unobserved';
    if (isUnsteady && isProved && left < reuse && sum <= suppress) {
      isUnsteady = false;
      due.push({ word: 'steady', outageId });
    } else if (!isUnsteady && sum > suppress) {
      isUnsteady = true;
      due.push({ word: 'unsteady', outageId: concerned });
    } else if (isNews && !isUnsteady) {
      due.push({ word: change.to, outageId: concerned });
    }
  }
  return due;
}

/** Like a withdrawal, or like a change of attributes; coming back counts nothing. */
function pointsFor(to: State, wasDown: boolean): number {
  switch (to) {
    case 'up':
      return 0;
    case 'down':
      return wasDown ? 0 : 1_000;
    case 'degraded':
      return wasDown ? 0 : 500;
    case 'unobserved':
      return 500;
  }
}
