/** The machine's own clock. The only place that reads it for the daemon. */
import { readFileSync } from 'node:fs';
import { performance } from 'node:perf_hooks';
import type { Clock } from './clock.ts';

/** Node's timers overflow beyond 2^31 − 1 ms and would fire at once. */
const delayMsMax = 2_147_483_647;

export function realClock(): Clock {
  return {
    wallMs: () => Date.now(),
    monotonicMs: () => performance.now(),
    bootMs,
    after: (delayMs, then) => {
      // Node would cut the fraction off, and the timer fire before its time.
      const timer = setTimeout(then, Math.min(Math.max(Math.ceil(delayMs), 0), delayMsMax));
      return { cancel: () => clearTimeout(timer) };
    },
  };
}

/** First figure of /proc/uptime: seconds since boot with two decimals, suspend included (proc(5)). */
function bootMs(): number {
  try {
    const seconds = Number.parseFloat(readFileSync('/proc/uptime', 'latin1'));
    return Number.isFinite(seconds) ? seconds * 1000 : performance.now();
  } catch {
    return performance.now();
  }
}

/** Identifies this boot of the machine; empty where the system does not tell (random(4)). */
export function bootId(): string {
  try {
    return readFileSync('/proc/sys/kernel/random/boot_id', 'latin1').trim();
  } catch {
    return '';
  }
}
