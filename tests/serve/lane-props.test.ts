/** A lane is the same thing for as long as it says the same: what is drawn of it is kept with it. */
import { expect, test } from 'vitest';
import { type Board, boardOf } from '../../src/serve/board.ts';
import { laneOf, lanesOf } from '../../src/serve/lane-props.ts';
import type { LaneProps } from '../../web/props.ts';
import { hostileJob } from './jobs-scene.ts';
import { plannedSource, running } from './planned-source.ts';
import { dayMs, hourMs, type Member, minuteMs, now, type SceneOptions, sceneOf } from './scene.ts';

const past = [{ state: 'up', agoMs: hourMs }] as const;
const member: Member = { id: 'order-book', name: 'Order book', past };

async function lanes(more: Partial<Member> = {}, options: SceneOptions = {}) {
  const scene = await sceneOf([{ ...member, ...more }], { answers: false, ...options });
  const board = await unchanging(boardOf(scene.options));
  const lane = (): Promise<LaneProps> => laneFrom(board);
  return { scene, lane };
}

/** Its figures stay the same things: they are made anew by themselves now and then, and lanes with them. */
async function unchanging(board: Board): Promise<Board> {
  const [days30, chart] = await Promise.all([
    board.figures.days30(member.id),
    board.figures.chart(member.id, 'day'),
  ]);
  const [days, day] = [Promise.resolve(days30), Promise.resolve(chart)];
  return { ...board, figures: { ...board.figures, days30: () => days, chart: () => day } };
}

async function laneFrom(board: Board): Promise<LaneProps> {
  const [lane] = await lanesOf(board, board.cards, board.clock.wallMs());
  if (!lane) throw new Error('no lane');
  return lane;
}

test('the same while nothing changes', async () => {
  const { lane } = await lanes();
  expect(await lane()).toBe(await lane());
});

test.each([
  ['its state', { state: 'down' }],
  ['a doubt about it', { suspect: true }],
  ['its cause', { causeId: 'order-book' }],
  ['its last answer', { last: null }],
] as const)('another one with %s', async (_what, change) => {
  const { scene, lane } = await lanes();
  const before = await lane();
  scene.standings.set('order-book', { ...scene.options.standingOf('order-book'), ...change });
  expect(await lane()).not.toEqual(before);
});

test('those that are kept are there at once, the others when they are made', async () => {
  const scene = await sceneOf([member, { ...member, id: 'shop', name: 'Shop' }], {
    answers: false,
  });
  const board = boardOf(scene.options);
  const { cards } = board;
  const roll = { now, today: board.zone.day(now), cards };
  const before = await lanesOf(board, cards, now);
  scene.standings.set('shop', { ...scene.options.standingOf('shop'), suspect: true });
  const [first, second] = cards.map((card) => laneOf(board, card, roll));
  expect(first).toBe(before[0]);
  expect(second).toBeInstanceOf(Promise);
  expect((await second)?.remarks).toEqual(['asked again']);
  expect((await lanesOf(board, cards, now)).map(({ remarks }) => remarks)).toEqual([
    [],
    ['asked again'],
  ]);
});

test('a reading that fails is heard of once, and no lane is kept', async () => {
  const made = boardOf((await sceneOf([member, { ...member, id: 'shop' }])).options);
  let isBroken = true;
  const figures: typeof made.figures = {
    ...made.figures,
    days30: (id) =>
      isBroken ? Promise.reject(new Error('the disk is gone')) : made.figures.days30(id),
  };
  const board = { ...made, figures };
  await expect(lanesOf(board, board.cards, now)).rejects.toThrow('the disk is gone');
  isBroken = false;
  expect(await lanesOf(board, board.cards, now)).toHaveLength(2);
});

test('another one when planned work begins', async () => {
  let to: number | null = null;
  const planned = {
    ...plannedSource([]),
    around: () => (to === null ? null : { from: running.from, to }),
  };
  const { lane } = await lanes({}, { planned });
  expect((await lane()).remarks).toEqual([]);
  to = running.to;
  expect((await lane()).remarks).toEqual(['planned until 10:15']);
});

test('on another day its instants are said with the day', async () => {
  const { scene, lane } = await lanes();
  expect((await lane()).since?.text).toBe('08:42');
  await scene.clock.advance(dayMs);
  expect((await lane()).since?.text).toBe('25 Nov, 08:42');
});

test('when a job is due is said as the time goes on', async () => {
  const dueAt = now + 30 * minuteMs;
  const source = {
    ...hostileJob.source,
    planOf: () => hostileJob.source.planOf('hostile-job'),
    standingOf: () => ({ ...hostileJob.source.standingOf('hostile-job'), dueAt }),
  };
  const { scene, lane } = await lanes({ kind: 'job' }, { jobs: source });
  expect((await lane()).remarks).toContain('due 10:12');
  await scene.clock.advance(hourMs);
  expect((await lane()).remarks).toContain('was due 10:12');
});

test('how long its certificate lasts is said as the time goes on', async () => {
  const facts = { certificateEndsAt: '2026-11-25T12:42:10Z', certificateWarn: true };
  const { scene, lane } = await lanes({ facts });
  expect((await lane()).remarks).toEqual(['certificate ends in 3\u00a0h']);
  await scene.clock.advance(hourMs);
  expect((await lane()).remarks).toEqual(['certificate ends in 2\u00a0h']);
});
