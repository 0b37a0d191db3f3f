/**
 * A watch that makes little rubbish for months needs little room for it. V8 lets the space for young objects grow to three
 * times 16 MiB, the sooner the more survives (as everything does at the start), and the old space to a multiple of what
 * lives; here the young space stays at its first MiB and the old one close to what lives. That saves a good tenth of what
 * is resident, and costs processor time only where there is much rubbish: a house that asks hundreds of times a second
 * would pay a fifth more for each question. It gets V8's own bounds back. `npm run bench memory cpu`.
 *
 * V8 has four threads beside this one, of which each keeps a megabyte or more of what it once needed. How many cannot be
 * said while it runs: `npm start` and the container start it with one (`--v8-pool-size=1`).
 */
import { setFlagsFromString } from 'node:v8';

/** More questions a second than this make so much rubbish that room for it pays. */
const perSecondMax = 20;

/**
 * Before the libraries are loaded. Both flags are read whenever a space would grow, so they may be set while V8 runs.
 * Not `--optimize-for-size`: it keeps as little, and makes every probe cost half as much again.
 */
export function keepHeapSmall(): void {
  setFlagsFromString('--semi-space-growth-factor=1');
  setFlagsFromString('--heap-growing-percent=20');
  // What runs now and then is compiled quickly, and optimised only after seven times as much work as V8 thinks right: the
  // second look at a page would wait for that, the third would not gain what it took, and the compiler's own three megabytes
  // would stay. A long loop gets there all the same.
  setFlagsFromString('--interrupt-budget=500000');
}

/** Of all these, with how often each is asked. Also after a reload. */
export function fitHeap(services: readonly { readonly everyMs: number }[]): void {
  const perSecond = services.reduce((sum, { everyMs }) => sum + 1_000 / everyMs, 0);
  if (perSecond <= perSecondMax) {
    keepHeapSmall();
    return;
  }
  // As V8 has them (`node --v8-options`); 0: it works out by itself how far.
  setFlagsFromString('--semi-space-growth-factor=2');
  setFlagsFromString('--heap-growing-percent=0');
  setFlagsFromString('--interrupt-budget=67584');
}
