/** Planned work for a board in tests: windows as given, and what is asked of it written down. */
import { RollcallError } from '../../src/base/errors.ts';
import { inOrderOfTime, plannedAround } from '../../src/base/planned-time.ts';
import type { PlannedWindow } from '../../src/base/values.ts';
import type { PlannedSource } from '../../src/serve/board.ts';
import { hourMs, minuteMs, now } from './scene.ts';

/** Under way, about the order book. */
export const running: PlannedWindow = {
  id: 'sunday-updates.2026-11-25T09:30:00.000Z',
  name: 'Sunday updates',
  why: null,
  from: now - 12 * minuteMs,
  to: now + 33 * minuteMs,
  serviceIds: ['order-book'],
  origin: 'schedule',
};
export const toCome: PlannedWindow = {
  id: '7d3a1e52-0000-4000-8000-000000000000',
  name: 'Planned work',
  why: '<b>New</b> disk; "really", twice',
  from: now + 5 * hourMs,
  to: now + 6 * hourMs,
  serviceIds: null,
  origin: 'declared',
};
export const past: PlannedWindow = {
  ...running,
  id: 'past',
  from: now - 49 * hourMs,
  to: now - 48 * hourMs,
};

export interface PlannedDouble extends PlannedSource {
  readonly asked: Parameters<PlannedSource['plan']>[0][];
  readonly ended: string[];
}

export function plannedSource(
  windows: readonly PlannedWindow[] = [past, running, toCome],
): PlannedDouble {
  const asked: PlannedDouble['asked'] = [];
  const ended: string[] = [];
  const inOrder = inOrderOfTime(windows);
  return {
    asked,
    ended,
    around: (id, at) => plannedAround(inOrder, id, at),
    running: () => inOrder.filter(({ from, to }) => from <= now && now < to),
    between: async ({ from, to }) => inOrder.filter((one) => one.from < to && one.to > from),
    plan: async (wanted) => {
      asked.push(wanted);
      if (wanted.to - wanted.from < minuteMs) {
        throw new RollcallError('usage', 'A planned window lasts a minute at least.');
      }
      return { ...toCome, ...wanted };
    },
    end: async (id) => {
      ended.push(id);
      return [];
    },
  };
}
