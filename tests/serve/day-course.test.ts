/** The last day by steps, kept up by what happens: at any instant the same as if all had been read anew. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { happenings } from '../../src/base/happenings.ts';
import type { Observation, Outcome } from '../../src/base/values.ts';
import { chartRange, chartsFrom } from '../../src/serve/charts.ts';
import { dayCourses } from '../../src/serve/day-course.ts';
import { stepsOf } from '../../src/uptime/quantiles.ts';
import { simulatedClock } from '../support/clock-simulated.ts';
import { memoryRecord } from '../support/record-memory.ts';

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
const dayMs = 24 * hourMs;
const now = Date.parse('2026-11-25T09:42:10.000Z');

function answer(at: number, tookUs = 5_000, outcome: Outcome = 'answered'): Observation {
  return { at, outcome, tookUs, phases: {}, trouble: null, facts: {} };
}

function scene() {
  const clock = simulatedClock({ wallMs: now });
  const record = memoryRecord();
  const happens = happenings((thrown) => {
    throw thrown;
  });
  let readCount = 0;
  const { steps, health } = record;
  let dropped = 0;
  record.steps = (...asked) => {
    readCount++;
    return steps(...asked);
  };
  record.health = () => ({ ...health(), droppedCount: dropped });
  const dayOf = dayCourses({ record, clock, listen: happens.listen });
  const write = (observation: Observation) => record.observe({ serviceId: 'a', observation });
  const tell = (observation: Observation) =>
    happens.tell({ serviceId: 'a', observation, change: null });
  return {
    clock,
    record,
    write,
    tell,
    /** As rounds do it. */
    see: async (observation: Observation) => {
      await write(observation);
      tell(observation);
    },
    ask: () => dayOf('a', clock.wallMs()),
    /** All of it, from the record. */
    anew: async () => {
      const range = chartRange('day', clock.wallMs());
      return stepsOf({ ...range, observations: await record.observations('a', range) });
    },
    reads: () => readCount,
    drop: () => {
      dropped++;
    },
  };
}

const move = fc.oneof(
  { weight: 8, arbitrary: fc.record({ kind: fc.constant('wait'), ms: fc.nat(15 * minuteMs) }) },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant('wait'), ms: fc.nat(2 * dayMs) }) },
  {
    weight: 1,
    arbitrary: fc.record({
      kind: fc.constant('step'),
      ms: fc.integer({ min: -3 * hourMs, max: 3 * hourMs }),
    }),
  },
  { weight: 8, arbitrary: fc.record({ kind: fc.constant('see'), ms: fc.nat(4 * minuteMs) }) },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant('see'), ms: fc.nat(hourMs) }) },
  { weight: 4, arbitrary: fc.record({ kind: fc.constant('ask'), ms: fc.constant(0) }) },
);

test('over waits, late answers, gaps and a clock that is set it is what the record says', async () => {
  await fc.assert(
    fc.asyncProperty(fc.array(move, { maxLength: 60 }), fc.nat(1e6), async (moves, seed) => {
      const { clock, see, ask, anew } = scene();
      for (const [nth, { kind, ms }] of moves.entries()) {
        if (kind === 'wait') await clock.advance(ms);
        if (kind === 'step') clock.step(ms);
        const outcome = (['answered', 'limited', 'failed', 'unproven'] as const)[nth % 4];
        if (kind === 'see') await see(answer(clock.wallMs() - ms, (seed * nth) % 90_000, outcome));
        if (kind === 'ask') expect(await ask()).toEqual(await anew());
      }
      expect(await ask()).toEqual(await anew());
    }),
    { numRuns: 300 },
  );
});

test('the clock is set back by a moment, and the first step is one that was over', async () => {
  const { clock, ask, anew } = scene();
  await clock.advance(470_000);
  await ask();
  clock.step(-1);
  expect(await ask()).toEqual(await anew());
});

test('the record is read once, however often the steps are asked for', async () => {
  const { clock, see, ask, anew, reads } = scene();
  for (let minute = 0; minute < 36 * 60; minute++) {
    await see(answer(clock.wallMs(), 1_000 + minute));
    if (minute % 50 === 7) expect(await ask()).toEqual(await anew());
    await clock.advance(minuteMs);
  }
  expect(reads()).toBe(1);
});

test('what is told of while it is read counts once', async () => {
  const { write, tell, ask, anew } = scene();
  const [written, both] = [answer(now - 1_000), answer(now - 500)];
  await write(written);
  const asked = ask();
  // This one was there before it was read, and is told of only now; this one comes meanwhile.
  tell(written);
  await write(both);
  tell(both);
  expect(await asked).toEqual(await anew());
  tell(written);
  expect(await ask()).toEqual(await anew());
});

test('a reading that takes long is of the instant at which it was asked for', async () => {
  const { clock, record, see, ask, anew } = scene();
  for (let ago = 30; ago > 0; ago--) await see(answer(now - ago * minuteMs));
  const { observations } = record;
  let go = () => {};
  const gone = new Promise<void>((resolve) => {
    go = resolve;
  });
  record.observations = async (...given) => {
    await gone;
    return observations(...given);
  };
  const { from, to } = chartRange('day', now);
  const asked = ask();
  for (let minute = 0; minute < 30; minute++) {
    await clock.advance(minuteMs);
    await see(answer(clock.wallMs()));
  }
  go();
  const steps = await asked;
  expect([steps[0]?.at, steps.at(-1)?.at]).toEqual([from, to - 10 * minuteMs]);
  record.observations = observations;
  expect(await ask()).toEqual(await anew());
});

test('another record in the place of a damaged one, or answers that it lost, are read anew', async () => {
  const { see, ask, reads, record, drop } = scene();
  await see(answer(now));
  await ask();
  drop();
  await ask();
  expect(reads()).toBe(2);
  const { health } = record;
  record.health = () => ({ ...health(), damage: 'The file was damaged.' });
  await ask();
  expect(reads()).toBe(3);
  await ask();
  expect(reads()).toBe(3);
});

test('a reading that failed is not kept', async () => {
  const { see, ask, anew, record } = scene();
  await see(answer(now));
  const { observations } = record;
  record.observations = async () => {
    throw new Error('the disk is gone');
  };
  await expect(ask()).rejects.toThrow('the disk is gone');
  record.observations = observations;
  expect(await ask()).toEqual(await anew());
});

test('charts of a day are made of it, and no others', async () => {
  const { record } = scene();
  const asked: string[] = [];
  const dayOf = async (serviceId: string) => {
    asked.push(serviceId);
    return [];
  };
  const charts = chartsFrom({ record, dayOf });
  expect((await charts.of('a', 'day', now)).steps).toEqual([]);
  expect((await charts.of('a', 'week', now)).steps).toHaveLength(168);
  expect(asked).toEqual(['a']);
});
