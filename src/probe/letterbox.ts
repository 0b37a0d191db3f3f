/** Datagrams that have arrived and nobody has looked at yet; and the error that the network sent back. Bounded, whatever is sent. */
import { datagramsCountMax, datagramsWaitingCountMax } from '../base/limits.ts';

interface Letter {
  readonly bytes: Buffer;
  /** `address:port` when it came from another place than the one asked. */
  readonly elsewhere: string | null;
}

export interface Letterbox {
  /** What comes while too many wait is dropped, as a full socket buffer would. */
  put(bytes: Buffer, elsewhere: string | null): void;
  /** The oldest one; undefined when there is none. */
  take(): Letter | undefined;
  /** Only the first error counts. */
  fail(error: Error): void;
  failed(): Error | null;
  /** So many have come that no more are looked at. */
  flooded(): boolean;
  /** Resolves at the next arrival, error, or `wake`. One waits at a time. */
  changed(): Promise<void>;
  wake(): void;
}

export function openLetterbox(): Letterbox {
  const waiting: Letter[] = [];
  let arrivedCount = 0;
  let failed: Error | null = null;
  let call = () => {};

  const wake = () => {
    const waker = call;
    call = () => {};
    waker();
  };

  return {
    put: (bytes, elsewhere) => {
      arrivedCount += 1;
      const room = waiting.length < datagramsWaitingCountMax && arrivedCount <= datagramsCountMax;
      if (room) waiting.push({ bytes, elsewhere });
      wake();
    },
    take: () => waiting.shift(),
    fail: (error) => {
      failed ??= error;
      wake();
    },
    failed: () => failed,
    flooded: () => arrivedCount > datagramsCountMax,
    changed: () =>
      new Promise((resolve) => {
        call = resolve;
      }),
    wake,
  };
}
