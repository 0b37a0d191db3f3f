/**
 * A clock that moves only when told to. Alarms fire in order of their due time; between two alarms
 * everything that was promised gets its turn, so the same code runs as under the machine's clock.
 */
import type { Clock } from '../../src/base/clock.ts';

export interface SimulatedClock extends Clock {
  /** Lets time pass, firing what falls due on the way. */
  advance(byMs: number): Promise<void>;
  /** The wall clock jumps (back when negative); nothing else notices. */
  step(byMs: number): void;
  /** The machine sleeps: wall and boot clock go on, the monotonic one stands still. */
  suspend(byMs: number): void;
  /** Alarms that wait. */
  pending(): number;
}

interface Waiting {
  readonly dueMs: number;
  readonly order: number;
  readonly then: () => void;
}

export function simulatedClock(start: { wallMs: number }): SimulatedClock {
  let monotonicMs = 1_000;
  let wallAheadMs = start.wallMs - monotonicMs;
  let bootAheadMs = 60_000;
  let order = 0;
  const waiting = new Set<Waiting>();

  const next = (untilMs: number): Waiting | undefined => {
    let found: Waiting | undefined;
    for (const alarm of waiting) {
      if (alarm.dueMs > untilMs) continue;
      if (!found || alarm.dueMs < found.dueMs) found = alarm;
      else if (alarm.dueMs === found.dueMs && alarm.order < found.order) found = alarm;
    }
    return found;
  };

  return {
    wallMs: () => Math.floor(monotonicMs + wallAheadMs),
    monotonicMs: () => monotonicMs,
    bootMs: () => monotonicMs + bootAheadMs,
    after: (delayMs, then) => {
      const alarm = { dueMs: monotonicMs + Math.max(delayMs, 0), order: order++, then };
      waiting.add(alarm);
      return { cancel: () => void waiting.delete(alarm) };
    },
    advance: async (byMs) => {
      const untilMs = monotonicMs + byMs;
      await settled();
      for (let alarm = next(untilMs); alarm; alarm = next(untilMs)) {
        waiting.delete(alarm);
        monotonicMs = Math.max(monotonicMs, alarm.dueMs);
        alarm.then();
        await settled();
      }
      monotonicMs = untilMs;
      await settled();
    },
    step: (byMs) => {
      wallAheadMs += byMs;
    },
    suspend: (byMs) => {
      wallAheadMs += byMs;
      bootAheadMs += byMs;
    },
    pending: () => waiting.size,
  };
}

/** Lets promises and what they start take their turn: several laps of the event loop. */
async function settled(): Promise<void> {
  for (let lap = 0; lap < 4; lap++) await new Promise((resolve) => setImmediate(resolve));
}
