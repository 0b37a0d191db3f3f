/** Jobs on the board: their place on the roll, a page of their own, and their runs for programs. */
import { afterAll, describe, expect, test } from 'vitest';
import type { JobRun } from '../../src/base/jobs.ts';
import { readOpenMetrics } from '../support/openmetrics.ts';
import { backupToken, type JobsScene, jobsScene } from './jobs-scene.ts';
import { minuteMs, nothing, now, type SceneOptions, words } from './scene.ts';

const scenes: JobsScene[] = [];
afterAll(() => Promise.all(scenes.map(({ scene }) => scene.app.close())));
async function board(options: SceneOptions = {}): Promise<JobsScene> {
  const made = await jobsScene({
    access: { passphrase: null, tokens: [], key: Buffer.alloc(32) },
    ...options,
  });
  scenes.push(made);
  return made;
}

const get = ({ scene }: JobsScene, url: string) =>
  scene.app.inject({ url, headers: { host: 'localhost', accept: 'text/html' } });
const report = ({ scene }: JobsScene, path: string, payload = '') =>
  scene.app.inject({
    method: 'POST',
    url: `/jobs/nightly-backup/${path}`,
    headers: { host: 'localhost', authorization: `Bearer ${backupToken}` },
    payload,
  });

/** A run of ten minutes that failed, and one that runs. */
async function afterANight(): Promise<JobsScene> {
  const made = await board();
  await report(made, 'began?run=one');
  await made.scene.clock.advance(10 * minuteMs);
  await report(
    made,
    'ended?run=one&exit=2&value=9800000000&unit=B',
    'copied\n<script>alert(1)</script> & "more"\n',
  );
  await made.scene.clock.advance(minuteMs);
  await report(made, 'began?run=two');
  return made;
}

test('the roll has them in their group, with what is due and how long the last run took', async () => {
  const made = await afterANight();
  const { body } = await get(made, '/');
  expect(words(body)).toMatch(/Night 2 jobs/);
  expect(body).toContain('href="/jobs/nightly-backup"');
  expect(words(body)).toMatch(
    /Nightly backup job up since [\d:]+ , failed, due 26 Nov, 02:15 Details of Nightly backup\. failed 09:52:10/,
  );
  expect(words(body)).toMatch(/Stock import job/);
});

test('a strip of looks has no line, and does not stretch the scale of the others', async () => {
  const made = await board({ answers: true });
  const { record } = made.scene;
  for (let agoMs = 60 * minuteMs; agoMs >= 0; agoMs -= minuteMs) {
    const observation = {
      at: now - agoMs,
      outcome: 'answered',
      tookUs: 0,
      phases: {},
      trouble: null,
      facts: {},
    } as const;
    await record.observe({ serviceId: 'stock-import', observation });
  }
  const { body } = await get(made, '/');
  expect(body).not.toMatch(/>1\s*µs</);
});

test('its page says what it is waiting for, what went wrong, and what it wrote', async () => {
  const made = await afterANight();
  const { statusCode, body } = await get(made, '/jobs/nightly-backup');
  expect(statusCode).toBe(200);
  const text = words(body);
  expect(text).toContain('Nightly backup has failed; next due');
  expect(text).toContain(
    'Due by 15 2 * * * (Europe/Dublin); overdue 20 min after that. A run hangs after 3 h.',
  );
  expect(text).toContain('failed with status 2 after 10 min');
  expect(text).not.toContain('Now:');
  expect(text).toContain('began; its end is not known');
  expect(text).toContain('9,800,000,000 B');
  expect(body).toContain('&lt;script>alert(1)&lt;/script> &amp; &quot;more&quot;');
  expect(body).not.toContain('<script>alert');
  expect(body).toMatch(
    /aria-label="2 runs, the oldest first: 0 ended well; 1 failed; 1 without a known end; the longest took 10.min\."/,
  );
  expect(body).toMatch(/class="run is-failed"[^>]*fill="url\(#ground-down\)"/);
  expect(body).not.toContain('style=');
});

test('a run that ended well, but not as usual, is not said to have run well', async () => {
  const made = await board();
  const end = (value: number) => report(made, `ended?exit=0&value=${value}&unit=B`);
  for (let nights = 0; nights < 6; nights++) {
    await made.scene.clock.advance(24 * 60 * minuteMs);
    await end(9_800_000);
  }
  const heading = async () => words((await get(made, '/jobs/nightly-backup')).body);
  expect(await heading()).toContain('Nightly backup has run well; next due');
  await end(12);
  expect(await heading()).toContain('Nightly backup has run, but not as usual; next due');
});

test('a bar is no higher than its run is known to have been long', async () => {
  const made = await board();
  await report(made, 'ended?exit=0&run=a');
  const heights = async () => {
    const { body } = await get(made, '/jobs/nightly-backup');
    return [...body.matchAll(/class="run [^>]*height="([\d.]+)%"/g)].map(([, height]) =>
      Number(height),
    );
  };
  await report(made, 'ended?exit=0&run=b');
  expect(new Set(await heights())).toEqual(new Set([100]));
  await report(made, 'began?run=c');
  await made.scene.clock.advance(minuteMs);
  await report(made, 'ended?exit=0&run=c');
  const [a, b, c] = await heights();
  expect([a, c]).toEqual([b, 100]);
  expect(a).toBeLessThan(10);
});

test('a job without runs has a page too, and one that is none has not', async () => {
  const made = await board();
  const { body } = await get(made, '/jobs/stock-import');
  expect(words(body)).toContain('Stock import waits for its first run; next due');
  expect(words(body)).toContain('None so far.');
  expect((await get(made, '/jobs/nas')).statusCode).toBe(404);
  expect((await get(made, '/jobs/nobody')).statusCode).toBe(404);
});

test('the sentence and the counts tell jobs from services', async () => {
  const made = await afterANight();
  made.scene.standings.set('stock-import', {
    ...(made.scene.standings.get('stock-import') ?? expect.fail('no standing')),
    state: 'down',
  });
  const roll = (await get(made, '/api/v1/roll')).json();
  expect(roll).toMatchObject({
    sentence: expect.stringMatching(
      /^Stock import has been failing since .*; 1 service answers; 1 other job is in order\.$/,
    ),
    counts: { up: 2, degraded: 0, down: 1, unobserved: 0, planned: 0 },
    jobs: { due: 1, running: 0, done: 0, failed: 1, overdue: 0, hanging: 0 },
    trouble: ['stock-import'],
  });
});

test('the page of the service that it is as well leads there', async () => {
  const made = await board();
  const answer = await get(made, '/services/nightly-backup');
  expect([answer.statusCode, answer.headers.location]).toEqual([303, '/jobs/nightly-backup']);
});

test('what is wrong with a job is what is wrong by now, not what its outage began with', async () => {
  const made = await board();
  const because = (reason: 'run-failed' | 'overdue', detail: string) =>
    ({ layer: 'job', reason, detail, hint: 'Look.' }) as const;
  const trouble = because('overdue', 'not begun 20 min after it was due');
  const last = { at: now, outcome: 'failed', tookUs: 0, phases: {}, facts: {}, trouble } as const;
  const outage = {
    ...{
      id: 'a',
      serviceId: 'nightly-backup',
      lastGoodAt: null,
      firstFailedAt: now,
      confirmedAt: now,
    },
    ...{ lastFailedAt: now, restoredAt: null, causeId: null },
    trouble: because('run-failed', 'exit status 3'),
  };
  const standing = made.scene.standings.get('nightly-backup') ?? expect.fail('no standing');
  made.scene.standings.set('nightly-backup', { ...standing, state: 'down', outage, last });
  const page = words((await get(made, '/')).body);
  expect(page).toContain('Not begun 20 min after it was due.');
  expect(page).not.toContain('xit status 3');
});

test('an outage of a job is told in words of jobs, on its page and in the feed', async () => {
  const made = await board();
  const { record } = made.scene;
  const beganAt = now - 60 * minuteMs;
  const seen = (minutes: number, reason: 'run-failed' | 'overdue') => {
    const trouble = { layer: 'job', reason, detail: 'exit status 3', hint: 'Read it.' } as const;
    const at = beganAt + minutes * minuteMs;
    return { at, outcome: 'failed', tookUs: 0, phases: {}, facts: {}, trouble } as const;
  };
  const observations = [0, 1, 2, 3].map((minutes) =>
    seen(minutes, minutes < 2 ? 'run-failed' : 'overdue'),
  );
  const outage = {
    ...{ id: 'nightly-backup.1', serviceId: 'nightly-backup', lastGoodAt: beganAt - minuteMs },
    ...{ firstFailedAt: beganAt, confirmedAt: beganAt, lastFailedAt: beganAt + 3 * minuteMs },
    ...{
      restoredAt: beganAt + 4 * minuteMs,
      trouble: seen(0, 'run-failed').trouble,
      causeId: null,
    },
  };
  await record.commit({
    ...{ ...nothing, outages: [outage] },
    observations: observations.map((observation) => ({ serviceId: 'nightly-backup', observation })),
  });
  const page = words((await get(made, '/outages/nightly-backup.1')).body);
  expect(page).toContain('Nightly backup was failing for 4 min.');
  expect(page).toContain('While it lasted: run failed, then overdue.');
  expect(page).toContain('The outage begins. Exit status 3.');
  expect(page).not.toMatch(/good answer|failed one/);
  expect((await get(made, '/feed.atom')).body).toMatch(/Nightly backup was failing for 4.min/);
});

describe('for programs', () => {
  test('all jobs, and how each stands', async () => {
    const made = await afterANight();
    const { jobs } = (await get(made, '/api/v1/jobs')).json();
    expect(jobs).toHaveLength(2);
    expect(jobs[0]).toMatchObject({
      ...{ id: 'nightly-backup', name: 'Nightly backup', group: 'Night', state: 'failed' },
      ...{ due: '15 2 * * * (Europe/Dublin)', dueAt: '2026-11-26T02:15:00.000Z' },
      ...{ allowMs: 1_200_000, limitMs: 10_800_000, reason: 'run-failed' },
      last: { id: 'one', exit: 2, tookMs: 600_000 },
    });
    expect(jobs[1]).toMatchObject({ id: 'stock-import', state: 'due', reason: null, last: null });
  });

  test('what is measured of them', async () => {
    const made = await afterANight();
    const families = readOpenMetrics((await get(made, '/metrics')).body);
    const samples = (name: string) =>
      families
        .find((one) => one.name === name)
        ?.samples.filter(({ labels }) => labels['job'] === 'nightly-backup') ?? [];
    const state = samples('rollcall_job_state').filter(({ value }) => value === 1);
    expect(state.map(({ labels }) => labels['rollcall_job_state'])).toEqual(['failed']);
    const value = (name: string) => samples(`rollcall_job_${name}`)[0]?.value;
    expect(value('last_end_timestamp_seconds')).toBe(now / 1_000 + 600);
    expect(value('last_duration_seconds')).toBe(600);
    expect(value('last_exit_status')).toBe(2);
    expect(value('last_value')).toBe(9_800_000_000);
    expect(value('due_timestamp_seconds')).toBe(Date.parse('2026-11-26T02:15:00Z') / 1_000);
    // Nobody waits for its answer.
    const answers = families.find(({ name }) => name === 'rollcall_service_answer_seconds');
    const labels = new Set(answers?.samples.map((one) => one.labels['service']));
    expect([...labels]).toEqual(['nas']);
  });

  test('runs, the newest first, as many as are asked for', async () => {
    const made = await afterANight();
    const runs = (await get(made, '/api/v1/jobs/nightly-backup/runs')).json();
    expect(runs).toMatchObject({ complete: true, runs: [{ id: 'two' }, { id: 'one', unit: 'B' }] });
    const one = (await get(made, '/api/v1/jobs/nightly-backup/runs?count=1')).json();
    expect(one).toMatchObject({ complete: false, runs: [{ id: 'two' }] });
    expect((await get(made, '/api/v1/jobs/nightly-backup/runs?count=1001')).statusCode).toBe(400);
    expect((await get(made, '/api/v1/jobs/nas/runs')).statusCode).toBe(404);
  });

  test('a job is among the services too', async () => {
    const made = await board();
    const { services } = (await get(made, '/api/v1/services')).json();
    expect(services.map(({ id, kind }: { id: string; kind: string }) => [id, kind])).toContainEqual(
      ['nightly-backup', 'job'],
    );
  });
});

test('sixty bars and thirty rows are all that is shown', async () => {
  const made = await board();
  const runs = Array.from({ length: 80 }, (_, index): JobRun => {
    const beganAt = now - (80 - index) * 60 * minuteMs;
    return {
      ...{
        id: `${index}`,
        jobId: 'nightly-backup',
        beganAt,
        endedAt: beganAt + (index + 1) * 1_000,
        exit: 0,
      },
      ...{ sizeBytes: 0, value: null, unit: null, tail: null },
    };
  });
  await made.scene.record.commit({ ...nothing, runs });
  const { body } = await get(made, '/jobs/nightly-backup');
  expect(body.match(/class="run is-well"/g)).toHaveLength(60);
  expect(words(body).match(/ended well after/g)).toHaveLength(30);
});
