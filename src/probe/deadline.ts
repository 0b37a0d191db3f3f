/** One limit over a whole exchange, never restarted by a chunk that arrives; and the daemon's wish to stop. */
import type { Trouble } from '../base/values.ts';
import { trouble } from './observe.ts';
import type { ProbeContext } from './probe.ts';

/** `time`: the limit has passed. `stopped`: the daemon ends. */
type Over = 'time' | 'stopped';

export interface Deadline {
  /** Null while there is time left. */
  over(): Over | null;
  /** Milliseconds, never negative. */
  remainingMs(): number;
  /** Calls `then` once, when it is over; at once if it is. Returns what takes the wish back. */
  whenOver(then: () => void): () => void;
  /** Ends the alarm. To be called when the exchange has ended. */
  release(): void;
}

/** Starts now. */
export function startDeadline(context: ProbeContext): Deadline {
  const { clock, timeoutMs, signal } = context;
  const endsMs = clock.monotonicMs() + timeoutMs;
  // One or two at a time.
  let waiting: readonly (() => void)[] = [];
  let state: Over | null = null;

  const end = (why: Over) => {
    state ??= why;
    const calls = waiting;
    waiting = [];
    for (const call of calls) call();
  };
  const stop = () => end('stopped');
  const alarm = clock.after(timeoutMs, () => end('time'));
  const forgetStop = whenAborted(signal, stop);

  return {
    over: () => state,
    remainingMs: () => Math.max(0, endsMs - clock.monotonicMs()),
    whenOver: (then) => {
      if (state) then();
      else waiting = [...waiting, then];
      return () => {
        waiting = waiting.filter((call) => call !== then);
      };
    },
    release: () => {
      alarm.cancel();
      forgetStop();
      waiting = [];
    },
  };
}

/** What is to be done when a signal is aborted. */
const stops = new WeakMap<AbortSignal, Set<() => void>>();

/**
 * One listener for each signal, which outlives the probes: to add one for each probe and take it off again would cost more
 * than all else here. Calls at once where it was aborted before. Returns what takes the wish back.
 */
function whenAborted(signal: AbortSignal, then: () => void): () => void {
  if (signal.aborted) then();
  const calls = stops.get(signal) ?? heard(signal);
  calls.add(then);
  return () => void calls.delete(then);
}

function heard(signal: AbortSignal): Set<() => void> {
  const calls = new Set<() => void>();
  const callAll = () => {
    for (const call of [...calls]) call();
  };
  signal.addEventListener('abort', callAll, { once: true });
  stops.set(signal, calls);
  return calls;
}

/** What `work` comes to, or `late()` when the deadline is over first; the work is then left to itself. */
export async function beforeOver<T>(
  deadline: Deadline,
  work: Promise<T>,
  late: () => T,
): Promise<T> {
  let forget = () => {};
  const over = new Promise<T>((resolve) => {
    forget = deadline.whenOver(() => resolve(late()));
  });
  try {
    return await Promise.race([work, over]);
  } finally {
    forget();
  }
}

/** What to say when the daemon ended the exchange: it proves nothing about the service. */
export function cutShort(): Trouble {
  return trouble(
    'silent',
    'the asking was cut short before an answer came',
    'Rollcall was being stopped; this says nothing about the service.',
  );
}

/** A limit in words: `5 s`, `0.5 s`. */
export function sayLimit(timeoutMs: number): string {
  return `${timeoutMs / 1_000} s`;
}
