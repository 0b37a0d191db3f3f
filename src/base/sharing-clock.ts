/**
 * A clock for alarms that nearly all are cancelled before they ring, as limits of time are. Those of one length ring in the
 * order in which they are set, so one timer for the first of them is enough; and it stays on when that one is cancelled, to
 * look then who is next. A timer for each would cost a good part of what connecting costs.
 */
import type { Clock } from './clock.ts';

export interface SharingClock extends Clock {
  /** None of its alarms rings any more. A timer that waits for nobody would keep the process. */
  close(): void;
}

interface Waiting {
  readonly atMs: number;
  /** Null: cancelled. */
  call: (() => void) | null;
}

/** Less than a microsecond is what is lost by adding and subtracting. */
const roundingMs = 0.001;

export function sharingClock(clock: Clock): SharingClock {
  const lines = new Map<number, Line>();
  return {
    wallMs: () => clock.wallMs(),
    monotonicMs: () => clock.monotonicMs(),
    bootMs: () => clock.bootMs(),
    after: (delayMs, then) => {
      let line = lines.get(delayMs);
      if (!line) {
        line = new Line(clock, () => void lines.delete(delayMs));
        lines.set(delayMs, line);
      }
      const one: Waiting = { atMs: clock.monotonicMs() + delayMs, call: then };
      line.add(one);
      return {
        cancel: () => {
          one.call = null;
        },
      };
    },
    close: () => {
      for (const line of lines.values()) line.close();
      lines.clear();
    },
  };
}

/** All alarms of one length, the soonest first. */
class Line {
  readonly #clock: Clock;
  readonly #onEmpty: () => void;
  readonly #waiting: Waiting[] = [];
  #timer: { cancel(): void } | null = null;

  constructor(clock: Clock, onEmpty: () => void) {
    this.#clock = clock;
    this.#onEmpty = onEmpty;
  }

  add(one: Waiting): void {
    this.#waiting.push(one);
    this.#timer ??= this.#timerFor(one);
  }

  close(): void {
    this.#timer?.cancel();
  }

  #timerFor({ atMs }: Waiting) {
    return this.#clock.after(atMs - this.#clock.monotonicMs(), () => this.#ring());
  }

  #ring(): void {
    const untilMs = this.#clock.monotonicMs() + roundingMs;
    const next = this.#waiting.findIndex(({ atMs, call }) => call !== null && atMs > untilMs);
    const passed = this.#waiting.splice(0, next === -1 ? this.#waiting.length : next);
    const [first] = this.#waiting;
    this.#timer = first ? this.#timerFor(first) : null;
    if (!first) this.#onEmpty();
    for (const { call } of passed) call?.();
  }
}
