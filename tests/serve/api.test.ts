/** The API as promised (interface §4), asked without a socket. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { instantText } from '../../src/base/instants.ts';
import { outagesCountMax, pointsCountMax } from '../../src/base/limits.ts';
import { fernhill } from './fernhill.ts';
import { dayMs, hourMs, minuteMs, now, type Scene, sceneOf } from './scene.ts';

let scene: Scene;
beforeAll(async () => {
  scene = await sceneOf(fernhill);
});
afterAll(() => scene.app.close());

const get = (url: string) => scene.app.inject({ url });
const outageOf = (id: string) => scene.standings.get(id)?.outage?.id ?? '';

describe('/api/v1/roll', () => {
  test('says how things are, counts, and names what is wrong, the worst first', async () => {
    const answer = await get('/api/v1/roll');
    expect(answer.statusCode).toBe(200);
    expect(answer.headers['content-type']).toBe('application/json; charset=utf-8');
    expect(answer.json()).toEqual({
      at: '2026-11-25T09:42:10.000Z',
      sentence:
        'Order book has been down since 09:14, and Shop with it; 6 others answer, 1 of them with reservations; 1 is not observed.',
      counts: { up: 5, degraded: 1, down: 2, unobserved: 1, planned: 0 },
      jobs: { due: 0, running: 0, done: 0, failed: 0, overdue: 0, hanging: 0 },
      trouble: ['order-book', 'shop', 'photo-archive', 'remote-access'],
    });
  });
});

describe('/api/v1/services', () => {
  test('gives all, in the order of the roll', async () => {
    const { services } = (await get('/api/v1/services')).json();
    expect(services.map(({ id }: { id: string }) => id)).toEqual(fernhill.map(({ id }) => id));
  });

  test('a service that is down has its trouble, its facts and thirty days', async () => {
    const service = (await get('/api/v1/services/order-book')).json();
    expect(service).toMatchObject({
      id: 'order-book',
      name: 'Order book',
      group: 'Data',
      kind: 'postgres',
      open: 'https://orders.fernhill.home.arpa/',
      needs: [],
      through: [],
      state: 'down',
      since: '2026-11-25T09:14:05.000Z',
      planned: false,
      suspect: false,
      unsteady: false,
      cause: null,
      last: {
        at: '2026-11-25T09:42:00.000Z',
        outcome: 'failed',
        tookUs: 412,
        layer: 'port',
        reason: 'refused',
        detail: 'nothing listens on db.fernhill.home.arpa:5432',
        facts: {},
      },
      days30: { outages: 3, unobservedMs: 0 },
    });
    const { estimate, low, high } = service.days30;
    expect(low).toBeLessThan(estimate);
    expect(estimate).toBeLessThan(high);
    // What the house knows beyond that is not for programs: where it is asked, and the note.
    expect(JSON.stringify(service)).not.toContain('Container');
  });

  test('one behind a cause names it; one that answers has no trouble', async () => {
    expect((await get('/api/v1/services/shop')).json()).toMatchObject({
      state: 'down',
      cause: 'order-book',
    });
    expect((await get('/api/v1/services/name-server')).json().last).toMatchObject({
      outcome: 'answered',
      layer: null,
      reason: null,
      detail: null,
      hint: null,
    });
  });
});

describe('/api/v1/services/:id/observations', () => {
  const url = '/api/v1/services/kiln-logger/observations';

  test('gives the last 24 hours one by one unless asked otherwise', async () => {
    const found = (await get(url)).json();
    expect(found).toMatchObject({
      from: instantText(now - dayMs),
      to: instantText(now),
      stepMs: null,
      complete: true,
    });
    expect(found.points).toHaveLength(24 * 60);
    expect(found.points.at(-1)).toEqual({
      at: '2026-11-25T09:42:00.000Z',
      outcome: 'answered',
      tookUs: expect.any(Number),
    });
  });

  test('with a step it sums up, empty steps included, and the pieces it reads in leave no seam', async () => {
    const answer = await get(`${url}?from=2026-11-24T09:00:00Z&to=2026-11-25T09:00:00Z&step=10m`);
    const { stepMs, points } = answer.json();
    expect(stepMs).toBe(10 * minuteMs);
    expect(points).toHaveLength(144);
    expect(points[0]).toEqual({
      at: '2026-11-24T09:00:00.000Z',
      count: 0,
      failed: 0,
      p50Us: null,
      p95Us: null,
      p99Us: null,
    });
    const full = points.slice(5);
    expect(full.map(({ count }: { count: number }) => count)).toEqual(full.map(() => 10));
    expect(full[0].p50Us).toBeLessThanOrEqual(full[0].p99Us);
  });

  test('an instant may come with an offset', async () => {
    const found = (
      await get(`${url}?from=2026-11-25T10:00:00%2B01:00&to=2026-11-25T09:10:00Z`)
    ).json();
    expect(found.from).toBe('2026-11-25T09:00:00.000Z');
    expect(found.points).toHaveLength(10);
  });

  test('more than fits is cut to the newest, and said to be', async () => {
    const busy = await sceneOf(
      [{ id: 'a', name: 'A', everyMs: 4_000, past: [{ state: 'up', agoMs: dayMs }] }],
      { answers: false },
    );
    const observations = Array.from({ length: pointsCountMax + 5 }, (_, index) => ({
      serviceId: 'a',
      observation: {
        at: now - 50_000_000 + index * 1_000,
        outcome: 'answered' as const,
        tookUs: 1,
        phases: {},
        trouble: null,
        facts: {},
      },
    }));
    // One by one the memory record would copy its list each time.
    busy.record.observations = async (_id, _range, countMax) =>
      observations.slice(-(countMax ?? 0)).map(({ observation }) => observation);
    const found = (await busy.app.inject({ url: '/api/v1/services/a/observations' })).json();
    expect(found.complete).toBe(false);
    expect(found.points).toHaveLength(pointsCountMax);
    expect(found.points.at(-1).at).toBe(
      instantText(now - 50_000_000 + (pointsCountMax + 4) * 1_000),
    );
    await busy.app.close();
  });
});

describe('/api/v1/services/:id/availability', () => {
  test('gives the window, its shares and its times, which add up', async () => {
    const url = `/api/v1/services/order-book/availability?from=${instantText(now - 2 * dayMs)}`;
    const answer = await get(`${url}&to=${instantText(now)}`);
    const found = answer.json();
    expect(found).toMatchObject({
      from: instantText(now - 2 * dayMs),
      to: instantText(now),
      outages: 2,
    });
    const { upMs, downMs, degradedMs, unobservedMs, plannedMs } = found;
    expect(upMs + downMs + degradedMs + unobservedMs + plannedMs).toBe(2 * dayMs);
    expect(found.estimate).toBeCloseTo(upMs / (upMs + downMs), 12);
    expect(found.mttrMs).toBe(9 * minuteMs);
  });

  test('where nobody looked it is null, not 1', async () => {
    const query = `from=${instantText(now - 9 * hourMs)}&to=${instantText(now - 8.5 * hourMs)}`;
    const found = (await get(`/api/v1/services/file-share/availability?${query}`)).json();
    expect(found).toMatchObject({
      estimate: null,
      low: null,
      high: null,
      unobservedMs: hourMs / 2,
    });
  });
});

describe('/api/v1/outages', () => {
  test('gives those that touch the range, newest first, of all or of one', async () => {
    const all = (await get('/api/v1/outages')).json();
    expect(all.complete).toBe(true);
    expect(all.outages.map(({ service }: { service: string }) => service)).toEqual([
      'shop',
      'order-book',
      'order-book',
    ]);
    const one = (await get('/api/v1/outages?service=shop')).json();
    expect(one.outages).toEqual([
      {
        id: outageOf('shop'),
        service: 'shop',
        lastGoodAt: '2026-11-25T09:13:40.000Z',
        firstFailedAt: '2026-11-25T09:14:40.000Z',
        confirmedAt: '2026-11-25T09:14:45.000Z',
        lastFailedAt: '2026-11-25T09:42:00.000Z',
        restoredAt: null,
        layer: 'answer',
        reason: 'server-error',
        detail: 'it answers 503 Service Unavailable',
        hint: 'Look at its log, and at the services that it needs.',
        cause: 'order-book',
      },
    ]);
  });

  test('more than fits is cut to the newest, and said to be', async () => {
    const crowded = await sceneOf(fernhill);
    const [example] = await crowded.record.outages(null, { from: 0, to: now });
    if (!example) throw new Error('no outage in the scene');
    crowded.record.outages = async (_id, _range, countMax) =>
      Array.from({ length: countMax ?? 0 }, () => example);
    const found = (await crowded.app.inject({ url: '/api/v1/outages' })).json();
    expect(found.complete).toBe(false);
    expect(found.outages).toHaveLength(outagesCountMax);
    await crowded.app.close();
  });

  test('one comes with its observations and with what was told', async () => {
    const id = outageOf('order-book');
    await scene.record.commit({
      observations: [],
      memories: [],
      spans: [],
      outages: [],
      unconfirmed: [],
      notices: [
        {
          kind: 'add',
          notice: {
            id: '3f1d0f5e-0000-4000-8000-000000000001',
            type: 'rollcall.service.down',
            at: now - 28 * minuteMs,
            serviceId: 'order-book',
            outageId: id,
            notBefore: now - 28 * minuteMs,
            data: { summary: 'Order book is down.' },
            channels: ['phone'],
          },
        },
      ],
    });
    await scene.record.claim('3f1d0f5e-0000-4000-8000-000000000001', 'phone', now);
    await scene.record.attempted({
      noticeId: '3f1d0f5e-0000-4000-8000-000000000001',
      channel: 'phone',
      at: now - 27 * minuteMs,
      tookMs: 41.5,
      status: 204,
      detail: '',
      next: { state: 'delivered' },
    });
    const found = (await get(`/api/v1/outages/${id}`)).json();
    expect(found.observations).toHaveLength(29);
    expect(found.observations[0]).toMatchObject({ outcome: 'answered' });
    expect(found.observations[1]).toMatchObject({ outcome: 'failed', reason: 'refused' });
    expect(found.notices).toEqual([
      {
        id: '3f1d0f5e-0000-4000-8000-000000000001',
        type: 'rollcall.service.down',
        at: '2026-11-25T09:14:10.000Z',
        summary: 'Order book is down.',
        channel: 'phone',
        state: 'delivered',
        foldedInto: null,
        fallbackFor: null,
        attempts: [{ at: '2026-11-25T09:15:10.000Z', tookMs: 42, status: 204, detail: '' }],
      },
    ]);
  });

  test('an open outage goes on as the judge holds it, not as it was written when it was confirmed', async () => {
    const standing = scene.standings.get('order-book');
    if (!standing?.outage) throw new Error('no outage in the scene');
    const later = { ...standing.outage, lastFailedAt: now };
    scene.standings.set('order-book', { ...standing, outage: later });
    const url = `/api/v1/outages/${later.id}`;
    expect((await get(url)).json().lastFailedAt).toBe(instantText(now));
    scene.standings.set('order-book', standing);
  });
});

describe('what cannot be served', () => {
  test.each([
    [
      'from=yesterday',
      'from',
      'yesterday',
      'expected an RFC 3339 time, such as 2026-11-25T04:00:00.000Z',
    ],
    [
      'to=2026-02-30T00:00:00Z',
      'to',
      '2026-02-30T00:00:00Z',
      'expected an RFC 3339 time, such as 2026-11-25T04:00:00.000Z',
    ],
    [
      'from=2026-11-25T10:00:00Z&to=2026-11-25T10:00:00Z',
      'from',
      undefined,
      'expected an instant before `to`',
    ],
    [
      'from=2026-11-25T10:00:00Z',
      'from',
      undefined,
      'lies in the future; without `to` the range ends now',
    ],
    [
      'from=2016-01-01T00:00:00Z',
      'from',
      undefined,
      'expected a range of at most 3660d up to `to`',
    ],
    [
      'step=1d&from=2020-10-01T00:00:00Z',
      'from',
      undefined,
      'expected a range of at most 1830d up to `to`',
    ],
    ['step=500ms', 'step', '500ms', 'expected a duration from 1s to 1d, such as 30s, 5m or 1h'],
    ['step=2d', 'step', '2d', 'expected a duration from 1s to 1d, such as 30s, 5m or 1h'],
    ['step=soon', 'step', 'soon', 'expected a duration from 1s to 1d, such as 30s, 5m or 1h'],
    ['step=1s', 'step', undefined, 'expected at most 20000 steps: at least 5s for this range'],
    ['stop=1m', 'stop', '1m', 'no such parameter'],
    [
      'from=a&from=b',
      'from',
      undefined,
      'expected an RFC 3339 time, such as 2026-11-25T04:00:00.000Z',
    ],
  ])(
    'observations?%s is refused with what is wrong, where, and what was expected',
    async (query, parameter, value, detail) => {
      const answer = await get(`/api/v1/services/kiln-logger/observations?${query}`);
      expect(answer.statusCode).toBe(400);
      expect(answer.headers['content-type']).toBe('application/problem+json');
      expect(answer.json()).toMatchObject({
        type: 'about:blank',
        title: 'Bad Request',
        status: 400,
        detail: `${parameter}: ${detail}`,
        errors: [{ parameter, detail, ...(value !== undefined && { value }) }],
      });
    },
  );

  test.each([
    '/api/v1/services/nobody',
    '/api/v1/services/nobody/observations',
    '/api/v1/services/nobody/availability',
    '/api/v1/outages?service=nobody',
    '/api/v1/outages/nobody.abc',
    '/api/v1/nothing',
    '/api/v1/services/__proto__',
    '/api/v1/services/%2e%2e%2f',
  ])('%s does not exist, and says so as a problem (RFC 9457)', async (url) => {
    const answer = await scene.app.inject({ url, headers: { accept: 'text/html' } });
    expect(answer.statusCode).toBe(404);
    expect(answer.headers['content-type']).toBe('application/problem+json');
    expect(answer.json()).toMatchObject({ type: 'about:blank', title: 'Not Found', status: 404 });
  });

  test('an id of excessive length is refused', async () => {
    const answer = await get(`/api/v1/outages?service=${'a'.repeat(201)}`);
    expect(answer.statusCode).toBe(400);
    expect(answer.json().errors[0].detail).toBe('expected an id of at most 200 characters');
  });
});

test('an outage of a service that is no longer on the roll is still told', async () => {
  const past = await sceneOf(fernhill);
  const outage = await past.record.outage(outageOf('order-book'));
  if (!outage) throw new Error('no outage in the scene');
  const gone = { ...outage, id: 'old-wiki.abc', serviceId: 'old-wiki' };
  await past.record.commit({
    observations: [],
    memories: [],
    spans: [],
    outages: [gone],
    unconfirmed: [],
    notices: [],
  });
  const answer = await past.app.inject({ url: '/api/v1/outages/old-wiki.abc' });
  expect(answer.json()).toMatchObject({ service: 'old-wiki', observations: [], notices: [] });
  expect((await past.app.inject({ url: '/outages/old-wiki.abc' })).body).toContain(
    'old-wiki was seen failing until 09:42 and is no longer on the roll.',
  );
  expect((await past.app.inject({ url: '/api/v1/outages' })).json().outages).toContainEqual(
    expect.objectContaining({ service: 'old-wiki' }),
  );
  await past.app.close();
});
