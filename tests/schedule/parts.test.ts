/** The heap, the phases and the pulse, each against its plain meaning. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { dueHeap } from '../../src/schedule/heap.ts';
import { firstDelayMs, nextDue, phaseOf } from '../../src/schedule/phase.ts';
import { beat, irregularities } from '../../src/schedule/pulse.ts';
import { simulatedClock } from '../support/clock-simulated.ts';

test('the heap gives back what a stable sort would', () => {
  fc.assert(
    fc.property(fc.array(fc.integer({ min: 0, max: 50 })), (dues) => {
      const heap = dueHeap<number>();
      dues.forEach((dueMs, nth) => {
        heap.push(dueMs, nth);
      });
      const sorted = dues.map((dueMs, nth) => ({ dueMs, nth })).sort((a, b) => a.dueMs - b.dueMs);
      for (const { dueMs, nth } of sorted) {
        expect(heap.peek()?.dueMs).toBe(dueMs);
        expect(heap.pop()).toMatchObject({ dueMs, value: nth });
      }
      expect(heap.pop()).toBeUndefined();
      expect(heap.size).toBe(0);
    }),
  );
});

test('the next due instant lies on the grid, a moment and at most an interval and a moment ahead', () => {
  fc.assert(
    fc.property(
      fc.string(),
      fc.integer({ min: 1_000, max: 86_400_000 }),
      fc.integer({ min: 0, max: 4e12 }),
      (id, everyMs, wallMs) => {
        const phaseMs = phaseOf(id, everyMs);
        const due = nextDue(phaseMs, everyMs, wallMs);
        expect(due - wallMs).toBeGreaterThanOrEqual(Math.min(everyMs / 10, 1_000));
        expect(due - wallMs).toBeLessThanOrEqual(everyMs + 1_000);
        expect(nextDue(phaseMs, everyMs, due) - due).toBe(everyMs);
        expect(firstDelayMs(id, everyMs, 1_250)).toBeLessThan(1_250);
      },
    ),
  );
});

describe('the pulse', () => {
  const between = async (
    happens: (clock: ReturnType<typeof simulatedClock>) => void,
    ms = 10_000,
  ) => {
    const clock = simulatedClock({ wallMs: 1e12 });
    const before = beat(clock);
    happens(clock);
    await clock.advance(ms);
    return irregularities(before, beat(clock), 10_000);
  };
  test('finds nothing in an ordinary ten seconds', async () =>
    expect(await between(() => {})).toEqual([]));
  test('knows a suspend by the boot clock', async () =>
    expect(await between((clock) => clock.suspend(3_600_000))).toEqual([
      { kind: 'suspended', byMs: 3_600_000 },
    ]));
  test('knows a step of the wall clock, either way', async () => {
    expect(await between((clock) => clock.step(90_000))).toEqual([
      { kind: 'clock-stepped', byMs: 90_000 },
    ]);
    expect(await between((clock) => clock.step(-90_000))).toEqual([
      { kind: 'clock-stepped', byMs: -90_000 },
    ]);
  });
  test('knows a stalled process by a beat that comes late', async () =>
    expect(await between(() => {}, 70_000)).toEqual([{ kind: 'stalled', byMs: 60_000 }]));
  test('takes small differences for drift', async () =>
    expect(await between((clock) => clock.step(1_500))).toEqual([]));
});
