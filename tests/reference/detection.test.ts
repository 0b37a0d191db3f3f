/** Delay of detection (H27 to H32): uniform phase of asking, as for periodic tests in IEC 61508-6 Annex B. Figures recomputed, no published ones seen. */
import { expect, test } from 'vitest';
import { detectionDelayMs } from '../../src/uptime/missed.ts';

test.each([
  ['H27', 30, 1, 0, 0, 0, 15, 30],
  ['H28', 30, 2, 30, 0, 30, 45, 60],
  ['H29', 30, 3, 30, 0, 60, 75, 90],
  ['H30', 60, 3, 20, 0, 40, 70, 100],
  ['H31', 30, 2, 5, 10, 15, 30, 45],
  ['H32', 30, 3, 10, 5, 25, 40, 55],
])('%s', (_, every, confirm, recheck, timeout, min, mean, max) => {
  const asking = {
    everyMs: 1_000 * every,
    confirm,
    recheckMs: 1_000 * recheck,
    timeoutMs: 1_000 * timeout,
  };
  expect(detectionDelayMs(asking)).toEqual({
    min: 1_000 * min,
    mean: 1_000 * mean,
    max: 1_000 * max,
  });
});
