/** Jobs at work, over a record in memory and a simulated clock: what reports do, what the time does, and what is told. */
import { beforeEach, describe, expect, test } from 'vitest';
import { eventType } from '../src/base/event-type.ts';
import type { JobPlan } from '../src/base/jobs.ts';
import { silentLog } from '../src/base/log.ts';
import type { Job } from '../src/config/resolve-job.ts';
import { houseJobs, type JobSettings } from '../src/house-jobs.ts';
import type { Notice } from '../src/record/record.ts';
import type { ChannelChoice } from '../src/tell/channel.ts';
import { Watch } from '../src/watch.ts';
import { type SimulatedClock, simulatedClock } from './support/clock-simulated.ts';
import { type MemoryRecord, memoryRecord } from './support/record-memory.ts';

const minuteMs = 60_000;
const hourMs = 60 * minuteMs;
/** The evening before; Dublin keeps UTC in November. */
const evening = Date.parse('2026-11-24T21:00:00Z');
const due = Date.parse('2026-11-25T02:15:00Z');

const plan: JobPlan = {
  id: 'nightly-backup',
  due: { kind: 'schedule', schedule: '15 2 * * *' },
  timezone: 'Europe/Dublin',
  allowMs: 20 * minuteMs,
  limitMs: 3 * hourMs,
};
const job: Job = {
  id: 'nightly-backup',
  name: 'Nightly backup',
  group: null,
  open: null,
  note: null,
  needs: [],
  objective: null,
  urgent: false,
  plan,
  fingerprint: 'nightly',
  token: 'b'.repeat(32),
};

interface House {
  readonly jobs: ReturnType<typeof houseJobs>;
  readonly watch: Watch<JobSettings, ChannelChoice>;
  stop(): Promise<void>;
}

let clock: SimulatedClock;
let record: MemoryRecord;
let told: Notice[];
beforeEach(() => {
  clock = simulatedClock({ wallMs: evening, bootMs: hourMs });
  record = memoryRecord();
  told = [];
});

/** As `house.ts` joins them. */
async function house(more: Partial<Job> = {}): Promise<House> {
  let watch: Watch<JobSettings, ChannelChoice> | null = null;
  const jobs = houseJobs({
    ...{ clock, record, log: silentLog, folder: '/nowhere' },
    jobs: [{ ...job, ...more }],
    mask: (text) => text.replaceAll('s3cret', '••••'),
    look: (id) => void watch?.askNow(id),
  });
  watch = new Watch<JobSettings, ChannelChoice>({
    ...{ clock, record, log: silentLog, settleMs: 0, services: jobs.watched },
    channels: [{ name: 'phone', only: null }],
    jobOf: (id) => jobs.dataOf(id),
    ask: async (settings) => jobs.jobs.ask(settings.id),
    send: async (_channel, notice) => {
      told.push(notice);
      return { status: 204, reception: 'taken', detail: 'answered 204', retryAfterMs: null };
    },
    newId: () => `notice-${told.length}-${clock.monotonicMs()}`,
    random: () => 0.5,
  });
  await jobs.jobs.recall();
  await watch.recall();
  watch.begin();
  await clock.advance(10_000);
  const running = watch;
  return {
    jobs,
    watch,
    stop: async () => {
      await jobs.jobs.stop();
      const stopped = running.stop();
      await clock.advance(3_000);
      await stopped;
    },
  };
}

const until = (at: number) => clock.advance(at - clock.wallMs());
const types = () => told.map(({ type, data }) => eventType(type, data));
const summaries = () => told.map(({ data }) => data.summary);
const ended = (exit: number, more: object = {}) => ({
  ...{ runId: null, at: null, beganAt: null, exit, value: null, unit: null, sizeBytes: 0 },
  output: new Uint8Array(),
  ...more,
});
const began = { runId: null, at: null };

/** A report is done when the clock lets the event loop turn. */
async function done<Value>(work: Promise<Value>): Promise<Value> {
  let value: { readonly is: Value } | null = null;
  void work.then((is) => {
    value = { is };
  });
  while (value === null) await clock.advance(0);
  return (value as { readonly is: Value }).is;
}

describe('from report to message', () => {
  test('a night that went well makes none', async () => {
    const { jobs, watch } = await house();
    await until(due + 5_000);
    await done(jobs.jobs.began(job.id, began));
    expect(jobs.source.standingOf(job.id).state).toBe('running');
    await until(due + 12 * minuteMs);
    const { run } = await done(jobs.jobs.ended(job.id, ended(0)));
    expect(run).toMatchObject({ beganAt: due + 5_000, endedAt: due + 12 * minuteMs, exit: 0 });
    expect(watch.standingOf(job.id).state).toBe('up');
    await until(due + 12 * hourMs);
    expect(types()).toEqual([]);
    expect(await record.spans(job.id, { from: 0, to: clock.wallMs() })).toMatchObject([
      { state: 'up' },
    ]);
  });

  test('a failure is told at once, with its end and the end of its output', async () => {
    const { jobs, watch } = await house();
    await until(due);
    await done(jobs.jobs.began(job.id, began));
    await until(due + 192_000);
    const output = Buffer.from(
      '\u001b[1mcopying\u001b[0m\r\nkey s3cret\nno space left on device\n',
    );
    await done(jobs.jobs.ended(job.id, ended(1, { output, sizeBytes: output.length })));
    await clock.advance(1_000);
    expect(types()).toEqual(['rollcall.job.failed']);
    expect(summaries()).toEqual([
      'Nightly backup failed: exit status 1 after 3 min 12 s: no space left on device.',
    ]);
    expect(told[0]?.data['job']).toEqual({
      run: expect.objectContaining({
        exit: 1,
        beganAt: '2026-11-25T02:15:00.000Z',
        output: 'copying\nkey ••••\nno space left on device',
      }),
    });
    const [outage] = await record.outages(job.id, { from: 0, to: clock.wallMs() });
    expect(outage).toMatchObject({ firstFailedAt: due + 192_000, trouble: { layer: 'job' } });
    expect(watch.standingOf(job.id).state).toBe('down');
  });

  test('a run that did not come is told to the moment, and its coming too', async () => {
    const { jobs } = await house();
    await until(due + 20 * minuteMs - 1);
    expect(types()).toEqual([]);
    await clock.advance(500);
    expect(types()).toEqual(['rollcall.job.overdue']);
    const [outage] = await record.outages(job.id, { from: 0, to: clock.wallMs() });
    expect(outage?.firstFailedAt).toBe(due + 20 * minuteMs);
    await until(due + 2 * hourMs);
    await done(jobs.jobs.began(job.id, began));
    await clock.advance(1_000);
    expect(types()).toEqual(['rollcall.job.overdue', 'rollcall.job.recovered']);
    expect(summaries()[1]).toBe('Nightly backup is in order again after 1 h 40 min.');
  });

  test('a run that does not end hangs at its limit', async () => {
    const { jobs } = await house();
    await until(due);
    await done(jobs.jobs.began(job.id, began));
    await until(due + 3 * hourMs + 500);
    expect(types()).toEqual(['rollcall.job.hanging']);
    expect(summaries()[0]).toMatch(/^Nightly backup hangs: still running 3 h after it began/);
  });

  test('a slow run is told once, not again at its end, and the next good one is told', async () => {
    const { jobs } = await house();
    for (let night = 0; night < 6; night++) {
      await until(due + night * 24 * hourMs);
      await done(jobs.jobs.began(job.id, began));
      await clock.advance(10 * minuteMs);
      await done(jobs.jobs.ended(job.id, ended(0)));
    }
    await until(due + 6 * 24 * hourMs);
    await done(jobs.jobs.began(job.id, began));
    await clock.advance(31 * minuteMs);
    expect(types()).toEqual(['rollcall.job.slow']);
    expect(summaries()).toEqual([
      'Nightly backup works, but not as usual: running for more than 30 min; it usually takes 10 min.',
    ]);
    await clock.advance(9 * minuteMs);
    await done(jobs.jobs.ended(job.id, ended(0)));
    await clock.advance(12 * hourMs);
    expect(types()).toEqual(['rollcall.job.slow']);
    await until(due + 7 * 24 * hourMs);
    await done(jobs.jobs.began(job.id, began));
    await clock.advance(10 * minuteMs);
    expect(types()).toEqual(['rollcall.job.slow']);
    await done(jobs.jobs.ended(job.id, ended(0)));
    await clock.advance(1_000);
    expect(types()).toEqual(['rollcall.job.slow', 'rollcall.job.recovered']);
  });
});

describe('reports', () => {
  test('runs that overlap are kept apart by their ids', async () => {
    const { jobs } = await house();
    await done(jobs.jobs.began(job.id, { runId: 'one', at: null }));
    await clock.advance(minuteMs);
    await done(jobs.jobs.began(job.id, { runId: 'two', at: null }));
    await clock.advance(minuteMs);
    await done(jobs.jobs.ended(job.id, ended(0, { runId: 'one' })));
    const runs = await record.runs(job.id, { from: 0, to: clock.wallMs() }, 10);
    expect(runs.map(({ id, endedAt }) => [id, endedAt !== null])).toEqual([
      ['two', false],
      ['one', true],
    ]);
  });

  test('the same report twice is one', async () => {
    const { jobs } = await house();
    await done(jobs.jobs.began(job.id, { runId: 'one', at: null }));
    await clock.advance(minuteMs);
    const again = await done(jobs.jobs.began(job.id, { runId: 'one', at: null }));
    expect(again.run.beganAt).toBe(clock.wallMs() - minuteMs);
    const first = await done(jobs.jobs.ended(job.id, ended(3, { runId: 'one' })));
    await clock.advance(minuteMs);
    const second = await done(jobs.jobs.ended(job.id, ended(0, { runId: 'one' })));
    expect(second.run).toEqual(first.run);
    expect(await record.runs(job.id, { from: 0, to: clock.wallMs() }, 10)).toHaveLength(1);
  });

  test('an end alone is a whole run; one with its beginning has a duration', async () => {
    const { jobs } = await house();
    const { run } = await done(jobs.jobs.ended(job.id, ended(0)));
    expect(run).toMatchObject({ beganAt: null, endedAt: clock.wallMs(), exit: 0 });
    const at = clock.wallMs() - hourMs;
    const stored = await done(
      jobs.jobs.ended(job.id, ended(0, { runId: 'x', at, beganAt: at - minuteMs })),
    );
    expect(stored.run).toMatchObject({ beganAt: at - minuteMs, endedAt: at });
  });

  test('many that began and did not end do not make it forget how the last one ended', async () => {
    const { jobs } = await house();
    await done(jobs.jobs.ended(job.id, ended(3, { runId: 'bad' })));
    await Promise.all(
      Array.from({ length: 500 }, (_, count) =>
        done(jobs.jobs.began(job.id, { runId: `${count}`, at: null })),
      ),
    );
    expect(jobs.source.standingOf(job.id).state).toBe('failed');
    expect(jobs.source.lastRunOf(job.id)).toMatchObject({ id: 'bad' });
    // Also those that are no longer held are known again by their ids.
    await done(jobs.jobs.ended(job.id, ended(0, { runId: '7' })));
    expect(jobs.source.standingOf(job.id).state).toBe('running');
    expect(await record.run(job.id, '7')).toMatchObject({ exit: 0, beganAt: clock.wallMs() });
  });

  test('what the house before this one was told at the last moment is known when it is told again', async () => {
    const { jobs } = await house();
    const run = {
      ...{ id: 'late', jobId: job.id, beganAt: evening, endedAt: evening + minuteMs, exit: 1 },
      ...{ sizeBytes: 0, value: null, unit: null, tail: null },
    };
    const changes = {
      observations: [],
      memories: [],
      spans: [],
      outages: [],
      unconfirmed: [],
      notices: [],
    };
    await record.commit({ ...changes, runs: [run] });
    expect(jobs.source.standingOf(job.id).state).toBe('due');
    await done(jobs.jobs.ended(job.id, ended(1, { runId: 'late' })));
    expect(jobs.source.standingOf(job.id).state).toBe('failed');
  });

  test('a run that hangs is not forgotten over many that came after it', async () => {
    const { jobs } = await house();
    const beganAt = clock.wallMs();
    await done(jobs.jobs.began(job.id, { runId: 'stuck', at: null }));
    for (let count = 0; count < 70; count++) {
      await clock.advance(minuteMs);
      await done(jobs.jobs.began(job.id, { runId: `${count}`, at: null }));
      await done(jobs.jobs.ended(job.id, ended(0, { runId: `${count}` })));
    }
    await until(beganAt + 3 * hourMs + 500);
    // Beside the others, which take no time at all, it is slow before.
    expect(types()).toEqual(['rollcall.job.slow', 'rollcall.job.hanging']);
  });

  test('nothing has happened in the future', async () => {
    const { jobs } = await house();
    const { run } = await done(
      jobs.jobs.began(job.id, { runId: 'x', at: clock.wallMs() + hourMs }),
    );
    expect(run.beganAt).toBe(clock.wallMs());
  });

  test('while the record cannot be written they wait with the rest, and messages go out', async () => {
    const { jobs } = await house();
    record.breakWrites('the disk is full');
    const { durable } = await done(jobs.jobs.ended(job.id, ended(1)));
    await clock.advance(1_000);
    expect(durable).toBe(false);
    expect(types()).toEqual(['rollcall.job.failed']);
    expect(await record.runs(job.id, { from: 0, to: clock.wallMs() }, 10)).toHaveLength(1);
  });

  test('a token is that of its own job', async () => {
    const { jobs } = await house();
    expect(jobs.source.isToken(job.id, 'b'.repeat(32))).toBe(true);
    expect(jobs.source.isToken(job.id, 'b'.repeat(31))).toBe(false);
    expect(jobs.source.isToken('stock-import', 'b'.repeat(32))).toBe(false);
    const { jobs: closed } = await house({ token: null });
    expect(closed.source.isToken(job.id, '')).toBe(false);
  });
});

describe('a daemon that was not there', () => {
  test('at the due time: judged after what is allowed from its return, and unobserved until then', async () => {
    const first = await house();
    await until(due - hourMs);
    await first.stop();
    await until(due + 2 * hourMs);
    const { watch } = await house();
    expect(watch.standingOf(job.id)).toMatchObject({
      state: 'unobserved',
      last: { outcome: 'unproven' },
    });
    const back = clock.wallMs() - 10_000;
    await until(back + 20 * minuteMs);
    expect(types()).toEqual([]);
    await clock.advance(10_000);
    expect(types()).toEqual(['rollcall.job.overdue']);
    const spans = await record.spans(job.id, { from: 0, to: clock.wallMs() });
    expect(spans.map(({ state }) => state)).toEqual(['up', 'unobserved', 'down']);
  });

  test('an outage that it knew of goes on, and is not told again', async () => {
    const first = await house();
    await until(due + hourMs);
    expect(types()).toEqual(['rollcall.job.overdue']);
    await first.stop();
    await until(due + 3 * hourMs);
    const { watch } = await house();
    expect(watch.standingOf(job.id)).toMatchObject({ state: 'unobserved' });
    await clock.advance(25 * minuteMs);
    expect(watch.standingOf(job.id)).toMatchObject({ state: 'down' });
    expect(types()).toEqual(['rollcall.job.overdue']);
  });

  test('for a moment: nothing is different', async () => {
    const first = await house();
    await until(due + 10 * minuteMs);
    await first.stop();
    await clock.advance(2_000);
    await house();
    await until(due + 20 * minuteMs + 500);
    expect(types()).toEqual(['rollcall.job.overdue']);
  });

  test('knows its runs again, and what is usual', async () => {
    const first = await house();
    await until(due);
    await done(first.jobs.jobs.began(job.id, { runId: 'one', at: null }));
    await first.stop();
    const { jobs } = await house();
    expect(jobs.source.standingOf(job.id).state).toBe('running');
    await done(jobs.jobs.ended(job.id, ended(0)));
    expect(jobs.source.lastRunOf(job.id)).toMatchObject({ id: 'one', exit: 0 });
  });

  test('another schedule counts from when it was agreed on', async () => {
    const first = await house();
    await until(due + 5 * minuteMs);
    await first.stop();
    const { jobs } = await house({ fingerprint: 'other' });
    await clock.advance(2 * hourMs);
    expect(types()).toEqual([]);
    expect(jobs.source.standingOf(job.id)).toMatchObject({
      state: 'due',
      dueAt: due + 24 * hourMs,
    });
  });
});
