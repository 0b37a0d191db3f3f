/** The figures of services and groups as the API gives them, of a small household whose past is known by hand. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { instantText } from '../../src/base/instants.ts';
import { dayMs, hourMs, type Member, minuteMs, now, type Scene, sceneOf } from './scene.ts';

const up = { state: 'up', agoMs: 40 * dayMs } as const;

/** Asked every minute: an outage begins and ends half a minute before it was seen to. */
const household: readonly Member[] = [
  {
    id: 'order-book',
    name: 'Order book',
    group: 'Data',
    objective: 0.99,
    past: [
      up,
      { state: 'down', agoMs: 20 * hourMs },
      { state: 'up', agoMs: 19 * hourMs },
      { state: 'down', agoMs: 5 * hourMs, cause: 'nas' },
      { state: 'up', agoMs: 5 * hourMs - 6 * minuteMs },
    ],
    missesAgoMs: [2 * hourMs],
  },
  {
    id: 'stock-list',
    name: 'Stock list',
    group: 'Data',
    past: [up, { state: 'down', agoMs: 19.5 * hourMs }, { state: 'up', agoMs: 18.5 * hourMs }],
  },
  {
    id: 'nas',
    name: 'NAS',
    group: 'House',
    past: [up, { state: 'unobserved', agoMs: 6 * hourMs }, { state: 'up', agoMs: 3 * hourMs }],
  },
  { id: 'kiln', name: 'Kiln logger', group: 'House', past: [] },
  { id: 'notes', name: 'Glaze notes', past: [up] },
];

let scene: Scene;
beforeAll(async () => {
  scene = await sceneOf(household, { answers: false });
});
afterAll(() => scene.app.close());

const get = async (path: string) => (await scene.app.inject({ url: `/api/v1/${path}` })).json();

describe('/api/v1/groups', () => {
  test('gives each group of the roll: the share of time in which all were up, its bounds, and the mean', async () => {
    const { from, to, groups } = await get('groups');
    expect([from, to]).toEqual([instantText(now - dayMs), instantText(now)]);
    expect(groups.map(({ name }: { name: string }) => name)).toEqual(['Data', 'House']);
    const [data, house] = groups;
    expect(data.members).toEqual(['order-book', 'stock-list']);
    // 20 to 18.5 hours ago together, and six minutes.
    expect(data.downMs).toBe(96 * minuteMs);
    expect(data.estimate).toBeCloseTo(1 - 96 / 1_440, 9);
    expect(data.mean).toBeCloseTo(1 - (66 + 60) / 2 / 1_440, 9);
    expect(data.low).toBeLessThan(data.estimate);
    expect(data.estimate).toBeLessThan(data.high);
    expect(house).toMatchObject({ estimate: 1, unobservedMs: 3 * hourMs, unseen: ['kiln'] });
  });

  test('over a window of choice, which is refused where it is none', async () => {
    const window = `from=${instantText(now - 10 * hourMs)}&to=${instantText(now - 6 * hourMs)}`;
    const { groups } = await get(`groups?${window}`);
    expect(groups[0]).toMatchObject({ estimate: 1, upMs: 4 * hourMs });
    expect(await get('groups?from=yesterday')).toMatchObject({ status: 400 });
  });
});

describe('/api/v1/services/:id/availability', () => {
  test('gives the longest and the shortest outage, the time to notice, and what was not confirmed', async () => {
    expect(await get('services/order-book/availability')).toMatchObject({
      outages: 2,
      unconfirmed: 1,
      mttrMs: 33 * minuteMs,
      mdtMs: 33 * minuteMs,
      detectionDelayMs: 35_000,
      externallyDisabledMs: 6 * minuteMs,
      longest: { lengthMs: hourMs, lowMs: 59 * minuteMs, highMs: 61 * minuteMs, open: false },
      shortest: { lengthMs: 6 * minuteMs, lowMs: 5 * minuteMs, highMs: 7 * minuteMs, open: false },
      surelySeenMs: 70_000,
    });
  });

  test('gives the budget of an objective, and none without one', async () => {
    const { budget } = await get('services/order-book/availability');
    expect(budget).toMatchObject({
      objective: 0.99,
      allowedMs: dayMs / 100,
      usedMs: 66 * minuteMs,
      leftMs: dayMs / 100 - 66 * minuteMs,
    });
    expect(budget.burnRate).toBeCloseTo(66 / 14.4, 9);
    expect(budget.leftLowMs).toBeLessThan(budget.leftMs);
    expect(budget.leftMs).toBeLessThan(budget.leftHighMs);
    expect((await get('services/nas/availability')).budget).toBeNull();
  });
});
