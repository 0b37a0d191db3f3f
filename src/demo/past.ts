/**
 * The day before the demo, so that the strips have something to show. It is invented and says so in the facts of each
 * observation; but it is judged and recorded by the house's own rounds, under a clock that runs through it.
 */
import { randomUUID } from 'node:crypto';
import type { Clock } from '../base/clock.ts';
import { bootId } from '../base/clock-real.ts';
import { fractionOf } from '../base/ids.ts';
import type { JobPlan, JobRun } from '../base/jobs.ts';
import { silentLog } from '../base/log.ts';
import { meaningOf } from '../base/reasons.ts';
import type { Observation, Trouble } from '../base/values.ts';
import type { Service } from '../config/resolve.ts';
import type { Job } from '../config/resolve-job.ts';
import { trouble } from '../probe/observe.ts';
import type { Record } from '../record/record.ts';
import { openRecord } from '../record/sqlite/open.ts';
import { Rounds } from '../round.ts';
import { occurrencesOf } from '../schedule/occurrences.ts';

/** [begins, ends): minutes before the start of the demo. */
interface Stretch {
  readonly fromAgo: number;
  readonly toAgo: number;
}

interface Mishap extends Stretch {
  readonly trouble: Trouble;
}

interface Course {
  /** Of an ordinary answer. */
  readonly tookUs: number;
  readonly mishaps: readonly Mishap[];
}

const stepMs = 60_000;
const dayMin = 24 * 60;
/** Nobody looked: the machine was off over night. */
const nobody: Stretch = { fromAgo: 700, toAgo: 615 };

const gone = trouble('refused', 'nothing listened on its port (invented)');
const slow = trouble('slow', 'answered late (invented)');
const waiting = trouble('server-error', 'answered 503 (invented)');

const courses: ReadonlyMap<string, Course> = new Map([
  ['order-book', { tookUs: 3_900, mishaps: [{ fromAgo: 1_130, toAgo: 1_112, trouble: gone }] }],
  ['shop', { tookUs: 38_000, mishaps: [{ fromAgo: 1_129, toAgo: 1_111, trouble: waiting }] }],
  ['photo-archive', { tookUs: 120_000, mishaps: [{ fromAgo: 420, toAgo: 330, trouble: slow }] }],
  ['stock-list', { tookUs: 5_200, mishaps: [] }],
  ['accounts', { tookUs: 4_400, mishaps: [] }],
  ['kiln-logger', { tookUs: 2_400, mishaps: [{ fromAgo: 204, toAgo: 203, trouble: gone }] }],
  ['nas', { tookUs: 700, mishaps: [] }],
  ['gateway', { tookUs: 900, mishaps: [{ fromAgo: 850, toAgo: 826, trouble: gone }] }],
  ['remote-access', { tookUs: 1_800, mishaps: [] }],
  ['glaze-supplier', { tookUs: 64_000, mishaps: [{ fromAgo: 850, toAgo: 826, trouble: gone }] }],
]);

const ordinary: Course = { tookUs: 10_000, mishaps: [] };

interface PastGiven {
  readonly folder: string;
  readonly services: readonly Service[];
  readonly jobs: readonly Job[];
  readonly clock: Clock;
}

/** Writes the record of the day that ends now. */
export async function writePast({ folder, services, jobs, clock }: PastGiven): Promise<void> {
  const pulse = () => ({ wallMs: clock.wallMs(), bootMs: clock.bootMs(), bootId: bootId() });
  const record = await openRecord({ folder, clock, log: silentLog, newId: randomUUID, pulse });
  try {
    await live(record, services, clock);
    const runs = jobs.flatMap(({ plan }) => runsOf(plan, clock.wallMs()));
    await record.commit({ ...nothing, runs });
  } finally {
    await record.close(pulse());
  }
}

async function live(record: Record, services: readonly Service[], clock: Clock): Promise<void> {
  const endsAt = clock.wallMs();
  let ago = dayMin;
  const then = (minutesAgo: number) => endsAt - minutesAgo * stepMs;
  const rounds = new Rounds<string>({
    clock: { ...clock, wallMs: () => then(ago) },
    log: silentLog,
    record,
    ask: async (id) => invented(id, ago, then(ago)),
    draft: () => [],
    tell: () => {},
    signal: new AbortController().signal,
  });
  await record.disturbed({ at: then(dayMin), kind: 'started', byMs: 0 });
  await rounds.replace(
    services.map((one) => ({ ...one, everyMs: stepMs, slower: {}, probe: one.id })),
  );
  for (; ago >= 0; ago--) {
    if (ago === nobody.fromAgo) {
      await record.disturbed({ at: then(ago), kind: 'stopped', byMs: 0 });
    }
    if (isWithin(nobody, ago)) continue;
    if (ago === nobody.toAgo) {
      await record.disturbed({ at: then(ago), kind: 'started', byMs: 0 });
    }
    for (const { id } of services) await rounds.round(id);
  }
  await record.disturbed({ at: endsAt, kind: 'stopped', byMs: 0 });
}

function invented(id: string, ago: number, at: number): Observation {
  const { tookUs, mishaps } = courses.get(id) ?? ordinary;
  const found = mishaps.find((mishap) => isWithin(mishap, ago))?.trouble ?? null;
  const late = found?.reason === 'slow' ? 5 : 1;
  // Some answers take much longer than most, as they do.
  const chance = fractionOf(`${id} ${ago}`);
  const took = Math.round(tookUs * late * (0.8 + 0.3 * chance + 1.5 * chance ** 20));
  return {
    at,
    outcome: found ? meaningOf(found.reason).outcome : 'answered',
    tookUs: took,
    phases: { connectUs: Math.round(took / 5), answerUs: took - Math.round(took / 5) },
    trouble: found,
    facts: { invented: true },
  };
}

const nothing = {
  observations: [],
  memories: [],
  spans: [],
  outages: [],
  unconfirmed: [],
  notices: [],
};

/** The last runs of a job: in time, of some minutes, and well but for one. */
function runsOf({ id, due, timezone }: JobPlan, now: number): readonly JobRun[] {
  if (due.kind !== 'schedule') return [];
  const times = occurrencesOf(due.schedule, timezone).within(now - 40 * dayMin * stepMs, now, 40);
  return times.map((beganAt, place): JobRun => {
    const chance = fractionOf(`${id} ${place}`);
    const isBad = place === times.length - 5;
    return {
      ...{ id: `invented-${beganAt}`, jobId: id, beganAt, exit: isBad ? 1 : 0 },
      endedAt: beganAt + Math.round((isBad ? 2 : 8 + 5 * chance) * stepMs),
      ...{ sizeBytes: 15 + Math.round(9 * chance), value: 900 + Math.round(80 * chance) },
      ...{ unit: 'files', tail: isBad ? 'no space left on device (invented)' : 'done (invented)' },
    };
  });
}

function isWithin({ fromAgo, toAgo }: Stretch, ago: number): boolean {
  return ago <= fromAgo && ago > toAgo;
}
