/**
 * A clock that moves only when told to. Alarms fire in order of their due time; between two alarms
 * everything that was promised gets its turn, so the same code runs as under the machine's clock.
 */
import type { Alarm, Clock } from '../../src/base/clock.ts';

export interface SimulatedClock extends Clock {
  /** Lets time pass, firing what falls due on the way. */
  advance(byMs: number): Promise<void>;
  /** The wall clock jumps (back when negative); nothing else notices. */
  step(byMs: number): void;
  /** The machine sleeps: wall and boot clock go on, the monotonic one stands still. */
  suspend(byMs: number): void;
  /** The event loop is busy: all clocks go on and nothing fires; what fell due meanwhile fires late. */
  stall(byMs: number): void;
  /** Alarms that wait. */
  pending(): number;
}

export interface SimulatedStart {
  readonly wallMs: number;
  /** Since the boot of the machine; a minute unless given. */
  readonly bootMs?: number;
  /**
   * What gets its turn between two alarms. `loop`: several laps of the event loop, for code that works with streams and
   * files. `promises`: promises alone, however long their chains, which is all that there is where no code waits for
   * anything but this clock and a synchronous database; a hundred times as fast.
   */
  readonly between?: 'loop' | 'promises';
}

interface Waiting extends Alarm {
  readonly dueMs: number;
  readonly order: number;
  /** Null: fired or cancelled. Cancelled ones are dropped when they come up. */
  act: (() => void) | null;
}

/** A season takes seconds; whoever else waits in this process must not wait so long. */
const alarmsBetweenLaps = 5_000;

export function simulatedClock(start: SimulatedStart): SimulatedClock {
  let monotonicMs = 1_000;
  let wallAheadMs = start.wallMs - monotonicMs;
  let bootAheadMs = (start.bootMs ?? 61_000) - monotonicMs;
  let order = 0;
  let count = 0;
  let fired = 0;
  const waiting = queue();
  const settled = start.between === 'promises' ? promisesSettled : loopSettled;

  const next = (untilMs: number): Waiting | undefined => {
    for (let alarm = waiting.first(); alarm; alarm = waiting.first()) {
      if (alarm.act !== null && alarm.dueMs > untilMs) return undefined;
      waiting.shift();
      if (alarm.act !== null) return alarm;
    }
    return undefined;
  };
  const end = (alarm: Waiting): void => {
    if (alarm.act === null) return;
    alarm.act = null;
    count--;
  };

  return {
    wallMs: () => Math.floor(monotonicMs + wallAheadMs),
    monotonicMs: () => monotonicMs,
    bootMs: () => monotonicMs + bootAheadMs,
    after: (delayMs, act) => {
      const dueMs = monotonicMs + Math.max(delayMs, 0);
      const alarm: Waiting = { dueMs, order: order++, act, cancel: () => end(alarm) };
      waiting.push(alarm);
      count++;
      return alarm;
    },
    advance: async (byMs) => {
      const untilMs = monotonicMs + byMs;
      // From here on this is itself a promise's turn, as `promisesSettled` wants it.
      await null;
      await settled();
      for (let alarm = next(untilMs); alarm; alarm = next(untilMs)) {
        const { act } = alarm;
        end(alarm);
        monotonicMs = Math.max(monotonicMs, alarm.dueMs);
        act?.();
        await settled();
        if (++fired % alarmsBetweenLaps === 0) await lap();
      }
      monotonicMs = Math.max(monotonicMs, untilMs);
      await settled();
    },
    step: (byMs) => {
      wallAheadMs += byMs;
    },
    suspend: (byMs) => {
      wallAheadMs += byMs;
      bootAheadMs += byMs;
    },
    stall: (byMs) => {
      monotonicMs += byMs;
    },
    pending: () => count,
  };
}

/** A binary heap by due time, then by order of arrival. */
function queue() {
  const items: Waiting[] = [];
  const sooner = (a: Waiting, b: Waiting) =>
    a.dueMs < b.dueMs || (a.dueMs === b.dueMs && a.order < b.order);

  return {
    first: () => items[0],
    push: (alarm: Waiting): void => {
      let at = items.length;
      items.push(alarm);
      for (let up = (at - 1) >> 1; at > 0; up = (at - 1) >> 1) {
        const parent = items[up] as Waiting;
        if (!sooner(alarm, parent)) break;
        items[at] = parent;
        items[up] = alarm;
        at = up;
      }
    },
    shift: (): void => {
      const last = items.pop();
      if (last === undefined || items.length === 0) return;
      let at = 0;
      for (let down = 1; down < items.length; down = 2 * at + 1) {
        const right = items[down + 1];
        if (right && sooner(right, items[down] as Waiting)) down++;
        const child = items[down] as Waiting;
        if (!sooner(child, last)) break;
        items[at] = child;
        at = down;
      }
      items[at] = last;
    },
  };
}

/** Lets promises and what they start take their turn: several laps of the event loop. */
async function loopSettled(): Promise<void> {
  for (let laps = 0; laps < 4; laps++) await lap();
}

function lap(): Promise<void> {
  return new Promise((resolve) => setImmediate(resolve));
}

/** Asked for in a promise's turn, Node's queue of ticks comes next when that of promises is empty: all chains are at rest. */
function promisesSettled(): Promise<void> {
  return new Promise((resolve) => process.nextTick(resolve));
}
