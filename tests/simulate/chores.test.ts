/**
 * The chores change no answer: days that are put away, a record that is looked through and copied, say the same as
 * before, in worlds with lost packets, daemons cut off and clocks set; and a record kept in order every night says what
 * one says that never was.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import type { Observation } from '../../src/base/values.ts';
import type { Record } from '../../src/record/record.ts';
import { allChores, household } from './household.ts';
import { always } from './lived.ts';
import { inWorlds } from './proof.ts';
import { sqliteShelf } from './shelf-sqlite.ts';
import { type EventfulWorld, longWorlds } from './worlds.ts';

const hourMs = 3_600_000;
const dayMs = 24 * hourMs;

test('what was put away, looked through and copied says what it said before', async () => {
  await inWorlds(longWorlds, 3, async (world) => {
    const { record, at, end } = await kept(world);
    const elsewhere = mkdtempSync(join(tmpdir(), 'rollcall-simulated-'));
    try {
      const before = await answersOf(record, world, at);
      expect((await record.upkeep.seal(at + 3 * dayMs)).sealedDaysCount).toBeGreaterThan(0);
      expect(likeness(await answersOf(record, world, at), before)).toEqual(before);
      expect((await record.upkeep.verify()).faults).toEqual([]);
      await record.upkeep.backup(join(elsewhere, 'copy.db'));
      await record.upkeep.seal(at + 4 * dayMs);
      expect(likeness(await answersOf(record, world, at), before)).toEqual(before);

      // Forgetting answers forgets nothing of what they meant.
      await record.upkeep.prune(at + 3 * dayMs);
      const { observations, steps, counts, ...meanings } = before;
      expect(await answersOf(record, world, at)).toMatchObject(meanings);
      expect([observations, steps, counts].flat(2).length).toBeGreaterThan(0);
    } finally {
      rmSync(elsewhere, { recursive: true });
      await end();
    }
  });
});

test('a record that is kept in order every night says what one says that never was', async () => {
  await inWorlds(longWorlds, 3, async (world) => {
    const untidy = await kept(world);
    const tidy = await kept(world, allChores);
    try {
      const expected = await answersOf(untidy.record, world, untidy.at);
      const answers = await answersOf(tidy.record, world, tidy.at);
      expect(likeness(answers, expected)).toEqual(expected);
    } finally {
      await untidy.end();
      await tidy.end();
    }
  });
});

/** The world's record, open for reading after all is over. */
async function kept(world: EventfulWorld, chores?: typeof allChores) {
  const shelf = sqliteShelf();
  const { services, seed, happenings, lastsMs } = world;
  const house = household({ services, seed, shelf, ...(chores && { chores }) });
  await house.begin();
  for (const { afterMs, happening } of happenings) {
    await house.live(afterMs);
    await house.happen(happening);
  }
  await house.live(Math.max(lastsMs - house.now(), hourMs));
  await house.end();
  const record = await shelf.open(house.clock);
  const at = house.clock.wallMs();
  const end = async () => {
    await record.close({ wallMs: at, bootMs: 0, bootId: '' });
    shelf.end();
  };
  return { record, at, end };
}

async function answersOf(record: Record, { services }: EventfulWorld, at: number) {
  const range = { from: at - 12 * dayMs, to: at + dayMs };
  const ofEach = <Value>(ask: (id: string) => Promise<Value>) =>
    Promise.all(services.map(({ id }) => ask(id)));
  return {
    spans: await ofEach((id) => record.spans(id, always)),
    outages: await ofEach((id) => record.outages(id, always)),
    unconfirmed: await ofEach((id) => record.unconfirmed(id, always)),
    observations: await ofEach(async (id) => (await record.observations(id, range)).map(lasting)),
    steps: await ofEach((id) => record.steps(id, range, hourMs)),
    counts: await ofEach(async (id) => (await record.latencies(id, range)).counts),
  };
}

type Answers = Awaited<ReturnType<typeof answersOf>>;

/** What the record promises to keep of an answer: failures whole, of the others what is not a matter of microseconds. */
function lasting({ at, outcome, tookUs, trouble, facts }: Observation) {
  const words = outcome === 'failed' || outcome === 'unproven' ? trouble : trouble?.reason;
  return { at, outcome, tookUs, facts, trouble: words ?? null };
}

/** With each latency that lies within 1 % of what is expected put in its place. */
function likeness(answers: Answers, expected: Answers): Answers {
  const near = (value: number | null | undefined, other: number | null | undefined) =>
    typeof value === 'number' &&
    typeof other === 'number' &&
    Math.abs(value - other) <= 0.01 * other + 1;
  return {
    ...answers,
    observations: answers.observations.map((all, nth) =>
      all.map((one, place) => {
        const other = expected.observations[nth]?.[place];
        if (one.outcome === 'failed' || !other || !near(one.tookUs, other.tookUs)) return one;
        return { ...one, tookUs: other.tookUs };
      }),
    ),
    steps: answers.steps.map((all, nth) =>
      all.map((step, place) => {
        const other = expected.steps[nth]?.[place];
        if (!other) return step;
        const same = { ...step };
        if (near(step.p50Us, other.p50Us)) same.p50Us = other.p50Us;
        if (near(step.p95Us, other.p95Us)) same.p95Us = other.p95Us;
        if (near(step.p99Us, other.p99Us)) same.p99Us = other.p99Us;
        return same;
      }),
    ),
  };
}
