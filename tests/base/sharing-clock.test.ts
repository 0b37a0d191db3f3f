/** Alarms that share timers ring as alarms of their own would; and there are as many timers as lengths. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import type { Alarm, Clock } from '../../src/base/clock.ts';
import { sharingClock } from '../../src/base/sharing-clock.ts';
import { simulatedClock } from '../support/clock-simulated.ts';

const wallMs = Date.UTC(2026, 10, 25);
const simulated = () => simulatedClock({ wallMs, between: 'promises' });

/** After `waitMs` an alarm of this length is set, and cancelled after `cancelMs` unless that is null. */
const sets = fc.array(
  fc.record({
    waitMs: fc.nat(300),
    delayMs: fc.constantFrom(0, 1, 0.25, 100, 250.5, 900),
    cancelMs: fc.option(fc.nat(1_000)),
  }),
  { maxLength: 40 },
);

/** What rang, and when. */
async function rung(
  plan: typeof sets extends fc.Arbitrary<infer Sets> ? Sets : never,
  clockOf: (clock: Clock) => Clock,
): Promise<readonly (readonly [nth: number, atMs: number])[]> {
  const world = simulated();
  const clock = clockOf(world);
  const startMs = world.monotonicMs();
  const rings: [number, number][] = [];
  for (const [nth, { waitMs, delayMs, cancelMs }] of plan.entries()) {
    await world.advance(waitMs);
    const alarm = clock.after(delayMs, () => rings.push([nth, world.monotonicMs() - startMs]));
    if (cancelMs !== null) world.after(cancelMs, () => alarm.cancel());
  }
  await world.advance(2_000);
  expect(world.pending()).toBe(0);
  return rings.sort(([one], [other]) => one - other);
}

test('they ring when alarms of their own would', () =>
  fc.assert(
    fc.asyncProperty(sets, async (plan) => {
      // One that is to be cancelled at the instant at which it rings may do either.
      const clear = plan.filter(({ delayMs, cancelMs }) => cancelMs !== delayMs);
      const shared = await rung(clear, sharingClock);
      const own = await rung(clear, (clock) => clock);
      expect(shared.map(([nth]) => nth)).toEqual(own.map(([nth]) => nth));
      for (const [index, [, atMs]] of shared.entries()) {
        expect(atMs).toBeCloseTo(own[index]?.[1] ?? -1, 2);
      }
    }),
  ));

test('a timer for each length, however many alarms are set and cancelled', async () => {
  const world = simulated();
  const clock = sharingClock(world);
  let alarm: Alarm | null = null;
  for (let nth = 0; nth < 1_000; nth++) {
    alarm?.cancel();
    alarm = clock.after(900, () => {});
    clock.after(100, () => {}).cancel();
    expect(world.pending()).toBe(2);
    await world.advance(10);
  }
  alarm?.cancel();
  await world.advance(900);
  expect(world.pending()).toBe(0);
});

test('one that rings may cancel those that would ring with it, and set others', async () => {
  const world = simulated();
  const clock = sharingClock(world);
  const rings: string[] = [];
  clock.after(50, () => {
    rings.push('first');
    second.cancel();
    clock.after(50, () => rings.push('third'));
  });
  const second = clock.after(50, () => rings.push('second'));
  await world.advance(50);
  expect(rings).toEqual(['first']);
  await world.advance(50);
  expect(rings).toEqual(['first', 'third']);
});

test('closed, none rings and no timer is left', async () => {
  const world = simulated();
  const clock = sharingClock(world);
  clock.after(50, () => expect.unreachable());
  clock.after(60, () => expect.unreachable());
  clock.close();
  expect(world.pending()).toBe(0);
  await world.advance(100);
});

test('its readings are those of the clock behind it', () => {
  const world = simulated();
  const clock = sharingClock(world);
  world.step(3_600_000);
  expect([clock.wallMs(), clock.monotonicMs(), clock.bootMs()]).toEqual([
    world.wallMs(),
    world.monotonicMs(),
    world.bootMs(),
  ]);
});
