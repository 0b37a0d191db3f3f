/**
 * Sealing over random courses: intervals that change, gaps, clocks that are set, rows that come late; put away, sealed,
 * cut off and opened again at random moments. What is read is always what was observed.
 */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { meaningOf } from '../../src/base/reasons.ts';
import { type Observation, outcomes } from '../../src/base/values.ts';
import type { Range } from '../../src/record/record.ts';
import { stepsOf } from '../../src/uptime/quantiles.ts';
import { relativeError, sketchOf } from '../../src/uptime/sketch.ts';
import { openSealed, type SealedRecord, temporaryRecord } from './support/sealing.ts';
import { hour, minute, second } from './support/values.ts';

const day = 24 * hour;
/** 2026-11-25T00:00:00Z. */
const midnight = 1_795_564_800_000;
const services = ['shop', 'nas'] as const;
const always = { from: 0, to: Number.POSITIVE_INFINITY };

const trouble = fc
  .record({
    reason: fc.constantFrom('refused', 'timed-out', 'slow', 'silent'),
    detail: fc.constantFrom('nothing listens on 192.0.2.7:5432', 'no answer “within” 5 s'),
    ownHint: fc.boolean(),
  })
  .map(({ reason, detail, ownHint }) => {
    const { layer, hint } = meaningOf(reason);
    return { layer, reason, detail, hint: ownHint ? 'Ask the owner.' : hint };
  });

const us = fc.oneof(
  { weight: 5, arbitrary: fc.integer({ min: 200, max: 3_000 }) },
  fc.integer({ min: 0, max: 60_000_000 }),
);
const phases = fc.record({ connectUs: us, answerUs: us }, { requiredKeys: [] });
const seen = fc.record({
  outcome: fc.oneof(
    { weight: 4, arbitrary: fc.constant('answered' as const) },
    fc.constantFrom(...outcomes),
  ),
  tookUs: us,
  phases,
  trouble,
  facts: fc.constantFrom({}, { version: '15' }, { version: '16', primary: true }),
});

/** Questions at one interval, after a gap (where it is negative the clock was set back or the rows came late). */
const stretch = fc.record({
  kind: fc.constant('stretch' as const),
  serviceId: fc.constantFrom(...services),
  gapMs: fc.oneof(
    fc.integer({ min: 0, max: 5 * second }),
    fc.integer({ min: -30 * hour, max: 30 * hour }),
    fc.constantFrom(-2 * day, -day, day),
  ),
  everyMs: fc.constantFrom(1, 5 * second, 30 * second, minute, 7 * hour),
  jitterMs: fc.constantFrom(0, 1, 40),
  seen: fc.array(seen, { minLength: 1, maxLength: 12 }),
});
const housework = fc.record({
  kind: fc.constant('housework' as const),
  what: fc.constantFrom('put away', 'seal', 'open again'),
  daysLater: fc.integer({ min: -1, max: 4 }),
  /** Killed when so much of it was written. */
  cutAfter: fc.option(fc.nat({ max: 2 })),
});
const history = fc.array(
  fc.oneof({ weight: 3, arbitrary: stretch }, { weight: 2, arbitrary: housework }),
  {
    minLength: 1,
    maxLength: 14,
  },
);
type Stretch = typeof stretch extends fc.Arbitrary<infer Value> ? Value : never;

function observationsOf(
  { everyMs, jitterMs, seen: answers }: Stretch,
  from: number,
): Observation[] {
  return answers.map(({ trouble: told, ...rest }, place) => ({
    ...rest,
    at: from + place * everyMs + (place % 2) * jitterMs,
    trouble: rest.outcome === 'answered' ? null : told,
  }));
}

const inOrder = (observations: readonly Observation[]): Observation[] =>
  [...observations].sort((one, other) => one.at - other.at);
const within = (observations: readonly Observation[], { from, to }: Range): Observation[] =>
  inOrder(observations).filter(({ at }) => at >= from && at < to);

/** In whole microseconds. */
function isNear(one: number | null, other: number | null): boolean {
  if (one === null || other === null) return one === other;
  return Math.abs(one - other) <= relativeError * other + 1;
}

/** As the port promises: failed ones whole; of the others the latency about, no phases, the reason's own words. */
function expectSame(found: readonly Observation[], expected: readonly Observation[]): void {
  expect(found).toHaveLength(expected.length);
  found.forEach((one, place) => {
    const other = expected[place]!;
    if (other.outcome === 'failed') {
      expect(one).toEqual(other);
      return;
    }
    const { at, outcome, facts } = other;
    expect(one).toMatchObject({ at, outcome });
    expect(one.facts).toEqual(facts);
    expect(one.trouble?.reason).toBe(other.trouble?.reason);
    expect(one.trouble?.layer).toBe(other.trouble?.layer);
    expect(isNear(one.tookUs, other.tookUs), `${one.tookUs} for ${other.tookUs}`).toBe(true);
    expect(Number.isSafeInteger(one.tookUs)).toBe(true);
  });
}

async function expectReads(record: SealedRecord, serviceId: string, all: readonly Observation[]) {
  expectSame(await record.observations(serviceId, always), inOrder(all));
  expect(record.store.tail.newest(serviceId)).toEqual(all.at(-1) ?? null);
}

/** Steps, latencies and parts, of a range with edges anywhere. */
async function expectFigures(
  record: SealedRecord,
  all: readonly Observation[],
  { range, stepMs, countMax }: { range: Range; stepMs: number; countMax: number },
) {
  const expected = within(all, range);
  expectSame(
    await record.observations('shop', range, countMax),
    expected.slice(Math.max(expected.length - countMax, 0)),
  );

  const steps = await record.steps('shop', range, stepMs);
  stepsOf({ observations: expected, ...range, stepMs }).forEach((step, place) => {
    const { p50Us, p95Us, p99Us, ...counts } = steps[place]!;
    expect(counts).toEqual({ at: step.at, count: step.count, failed: step.failed });
    expect([
      isNear(p50Us, step.p50Us),
      isNear(p95Us, step.p95Us),
      isNear(p99Us, step.p99Us),
    ]).toEqual([true, true, true]);
  });
  expect(steps).toHaveLength(Math.ceil((range.to - range.from) / stepMs));

  const served = expected.filter(({ outcome }) => outcome === 'answered' || outcome === 'limited');
  const latencies = await record.latencies('shop', range);
  // Each value lies in the bucket in which it was counted, wherever it is now: these are equal, not only near.
  expect(latencies.tookUs).toEqual(sketchOf(served.map(({ tookUs }) => tookUs)));
  for (const outcome of outcomes) {
    expect(latencies.counts[outcome]).toBe(
      expected.filter((one) => one.outcome === outcome).length,
    );
  }
  const whole = { from: Math.floor(range.from / day) * day, to: Math.ceil(range.to / day) * day };
  const { phases: found } = await record.latencies('shop', whole);
  const answers = within(all, whole).filter(
    ({ outcome }) => outcome === 'answered' || outcome === 'limited',
  );
  for (const name of ['connectUs', 'answerUs'] as const) {
    const sketch = sketchOf(answers.flatMap((one) => one.phases[name] ?? []));
    expect(found[name]).toEqual(sketch.count === 0 ? undefined : sketch);
  }
}

const asked = fc.record({
  fromMs: fc.integer({ min: -3 * day, max: 5 * day }),
  lengthMs: fc.oneof(fc.constantFrom(day, 2 * day), fc.integer({ min: 1, max: 6 * day })),
  aligned: fc.boolean(),
  stepMs: fc.constantFrom(hour, 5 * hour + 1, day, 2 * day),
  countMax: fc.oneof(fc.constant(Number.POSITIVE_INFINITY), fc.nat({ max: 8 })),
});

test('whatever is put away, sealed, cut off or opened again, what is read is what was observed', async () => {
  await fc.assert(
    fc.asyncProperty(history, asked, async (acts, { fromMs, lengthMs, aligned, ...figures }) => {
      const { path, end } = temporaryRecord();
      let record = openSealed(path, { rowsMax: 1 });
      const observed = new Map<string, Observation[]>(services.map((id) => [id, []]));
      let now = midnight + 22 * hour;
      for (const act of acts) {
        if (act.kind === 'stretch') {
          now += act.gapMs;
          const observations = observationsOf(act, now);
          now = observations.at(-1)?.at ?? now;
          observed.get(act.serviceId)?.push(...observations);
          record.write(
            observations.map((observation) => ({ serviceId: act.serviceId, observation })),
          );
        } else if (act.what === 'open again') {
          record.close();
          record = openSealed(path, { rowsMax: 1 });
        } else {
          if (act.cutAfter !== null) record.cutAfter(act.cutAfter);
          const { sealing } = record;
          if (act.what === 'put away') await sealing.lookAfter();
          else await sealing.seal(now + act.daysLater * day).catch(() => {});
          if (act.cutAfter !== null) {
            record.close();
            record = openSealed(path, { rowsMax: 1 });
          }
        }
        for (const [serviceId, all] of observed) await expectReads(record, serviceId, all);
      }
      const from = aligned ? midnight + Math.floor(fromMs / day) * day : midnight + fromMs;
      const range = { from, to: from + lengthMs };
      await expectFigures(record, observed.get('shop') ?? [], { range, ...figures });

      await record.sealing.seal(now + 100 * day);
      expect(record.database.prepare('SELECT count(*) FROM chunks').pluck().get()).toBe(0);
      expect(record.database.prepare('SELECT count(*) FROM tail').pluck().get()).toBe(0);
      for (const [serviceId, all] of observed) await expectReads(record, serviceId, all);
      await expectFigures(record, observed.get('shop') ?? [], { range, ...figures });
      expect(record.database.pragma('integrity_check', { simple: true })).toBe('ok');
      expect(record.database.pragma('foreign_key_check')).toEqual([]);
      record.close();
      end();
    }),
    { numRuns: 40 },
  );
}, 120_000);
