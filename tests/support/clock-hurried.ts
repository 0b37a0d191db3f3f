/** The machine's clock, running faster: for exchanges with real sockets that have long pauses in them. */
import type { Clock } from '../../src/base/clock.ts';
import { realClock } from '../../src/base/clock-real.ts';

/** `times` as fast; the wall clock is set off from the machine's by `wallAheadMs`. */
export function hurriedClock(times: number, wallAheadMs = 0): Clock {
  const real = realClock();
  const begunMs = real.monotonicMs();
  const passedMs = () => (real.monotonicMs() - begunMs) * times;
  const wallMs = real.wallMs() + wallAheadMs;
  return {
    wallMs: () => Math.floor(wallMs + passedMs()),
    monotonicMs: passedMs,
    bootMs: passedMs,
    after: (delayMs, then) => real.after(delayMs / times, then),
  };
}
