/** What cannot be missed, against a roll that is called in every possible phase. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { detectionDelayMs, surelySeenMs } from '../../src/uptime/missed.ts';

const asking = fc.record({
  everyMs: fc.integer({ min: 5, max: 60 }),
  confirm: fc.integer({ min: 1, max: 4 }),
  recheckMs: fc.integer({ min: 1, max: 20 }),
  timeoutMs: fc.integer({ min: 0, max: 5 }),
});
type Asking = Parameters<typeof detectionDelayMs>[0];

/** When an outage [0, outageMs) is confirmed, if the first probe after it began starts at `phaseMs`; null: never. */
function confirmedAt({ confirm, recheckMs, timeoutMs }: Asking, outageMs: number, phaseMs: number) {
  for (let failures = 0, at = phaseMs; ; at += recheckMs) {
    // A probe fails only if the service is away for all of it.
    if (at + timeoutMs > outageMs) return null;
    failures += 1;
    if (failures === confirm) return at + timeoutMs;
  }
}

function phases({ everyMs }: Asking): readonly number[] {
  // The first probe after the beginning starts up to one interval later; a beginning right at a probe may be missed by it.
  return Array.from({ length: everyMs }, (_, index) => index + 1);
}

test('an outage as long as is promised is confirmed in every phase, and one millisecond less is not enough', () => {
  fc.assert(
    fc.property(asking, (one) => {
      const confirmed = (outageMs: number) =>
        phases(one).every((phase) => confirmedAt(one, outageMs, phase) !== null);
      expect(confirmed(surelySeenMs(one))).toBe(true);
      expect(confirmed(surelySeenMs(one) - 1)).toBe(false);
    }),
  );
});

test('every delay lies within the stated bounds, and their mean is the stated one', () => {
  fc.assert(
    fc.property(asking, (one) => {
      const { min, mean, max } = detectionDelayMs(one);
      const delays = phases(one).map((phase) => confirmedAt(one, 10_000, phase)!);
      expect(Math.min(...delays)).toBe(min + 1);
      expect(Math.max(...delays)).toBe(max);
      // Whole phases 1…T have their mean half a millisecond above that of the continuous ones.
      expect(delays.reduce((sum, delay) => sum + delay, 0) / delays.length).toBeCloseTo(
        mean + 0.5,
        9,
      );
    }),
  );
});
