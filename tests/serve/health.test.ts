/** The daemon's own health, in the words of draft-inadarei-api-health-check-06 (reference J.6; expired in 2022). */
import { expect, test } from 'vitest';
import { fernhill } from './fernhill.ts';
import { minuteMs, now, type Scene, type SceneOptions, sceneOf } from './scene.ts';

async function healthOf(options: SceneOptions = {}, prepare?: (scene: Scene) => unknown) {
  const scene = await sceneOf(fernhill, { answers: false, ...options });
  await prepare?.(scene);
  const answer = await scene.app.inject({ url: '/healthz' });
  await scene.app.close();
  return { code: answer.statusCode, type: answer.headers['content-type'], body: answer.json() };
}

const phone = { name: 'phone', lastDeliveredAt: null, lastFailure: null, waitingCount: 0 };

test('it passes while it watches and writes, whatever the services do', async () => {
  const { code, type, body } = await healthOf();
  expect(code).toBe(200);
  expect(type).toMatch(/^application\/health\+json\b/);
  expect(body).toMatchObject({ status: 'pass', version: '0.1.0', notes: [] });
  expect(body.serviceId).toMatch(/^[0-9a-f-]{36}$/);
  expect(Object.keys(body.checks)).toEqual([
    'record:writable',
    'roll:sinceLastAsked',
    'roll:lateness',
    'telling:deadLetters',
  ]);
});

test('it fails when the record cannot be written', async () => {
  const { code, body } = await healthOf({}, ({ record }) => record.breakWrites('the disk is full'));
  expect(code).toBe(503);
  expect(body.status).toBe('fail');
  expect(body.checks['record:writable'][0]).toMatchObject({ status: 'fail' });
  expect(body.notes[0]).toContain('the disk is full');
});

test.each([
  // Asked every minute, last at 10 s before: three intervals are over 2 min 50 s from now.
  [170_000, 'pass', 200],
  [170_001, 'fail', 503],
])('after %i ms in which nobody asked: %s', async (silentMs, status, code) => {
  const health = await healthOf({}, ({ clock }) => clock.advance(silentMs));
  expect(health.code).toBe(code);
  expect(health.body.checks['roll:sinceLastAsked'][0]).toMatchObject({
    status,
    observedValue: silentMs + 10_000,
    observedUnit: 'ms',
  });
});

test('one service that is asked seldom does not hide that the others are not asked', async () => {
  const scene = await sceneOf(
    [
      {
        id: 'often',
        name: 'Often',
        everyMs: 10_000,
        past: [{ state: 'up', agoMs: 60 * minuteMs }],
      },
      {
        id: 'seldom',
        name: 'Seldom',
        everyMs: 6 * 60 * minuteMs,
        past: [{ state: 'up', agoMs: 60 * minuteMs }],
      },
    ],
    { answers: false },
  );
  await scene.clock.advance(minuteMs);
  expect((await scene.app.inject({ url: '/healthz' })).statusCode).toBe(503);
  await scene.app.close();
});

test('how late services are asked stands in it; it warns when more than one turn in a hundred was passed over', async () => {
  const lateness = { startsCount: 1_000, p50Ms: 2, p99Ms: 40, maxMs: 900, skippedCount: 10 };
  const { body } = await healthOf({ report: { lateness: () => lateness } });
  expect(body.status).toBe('pass');
  expect(body.checks['roll:lateness'][0]).toMatchObject({ observedValue: 40, observedUnit: 'ms' });
  const behind = await healthOf({
    report: { lateness: () => ({ ...lateness, skippedCount: 11 }) },
  });
  expect(behind.code).toBe(200);
  expect(behind.body.status).toBe('warn');
  expect(behind.body.notes.join(' ')).toContain('11 turns were passed over');
});

test('right after the start nobody has been asked, and that is no failure', async () => {
  const scene = await sceneOf([{ id: 'a', name: 'A', past: [] }], {
    report: { startedAt: now - 1_000 },
  });
  expect((await scene.app.inject({ url: '/healthz' })).json().status).toBe('pass');
  await scene.clock.advance(3 * minuteMs);
  expect((await scene.app.inject({ url: '/healthz' })).json().status).toBe('fail');
  await scene.app.close();
});

test('a wall clock that stepped back does not make it fail', async () => {
  const { body } = await healthOf({}, ({ clock }) => clock.step(-3_600_000));
  expect(body.checks['roll:sinceLastAsked'][0].observedValue).toBe(0);
  expect(body.status).toBe('pass');
});

test.each<[string, SceneOptions, string]>([
  [
    'a channel fails',
    {
      tells: {
        channels: [{ ...phone, lastFailure: { at: now, detail: 'no answer' } }],
        deadLetters: [],
      },
    },
    'phone',
  ],
  [
    'a notice was given up',
    {
      tells: {
        channels: [phone],
        deadLetters: [{ noticeId: '1', channel: 'phone', at: now, summary: 's', detail: 'd' }],
      },
    },
    'could not be delivered',
  ],
  [
    'the daemon has something to say',
    { report: { troubles: ['The configuration was not read again.'] } },
    'not read again',
  ],
])('it warns when %s', async (_what, options, note) => {
  const { code, body } = await healthOf(options);
  expect(code).toBe(200);
  expect(body.status).toBe('warn');
  expect(body.notes.join(' ')).toContain(note);
});

test('a channel that delivered after its failure is well again', async () => {
  const healed = {
    ...phone,
    lastFailure: { at: now - 2, detail: 'no answer' },
    lastDeliveredAt: now - 1,
  };
  expect((await healthOf({ tells: { channels: [healed], deadLetters: [] } })).body.status).toBe(
    'pass',
  );
});
