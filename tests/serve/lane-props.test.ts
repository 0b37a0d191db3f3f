/** A lane is the same thing for as long as it says the same: what is drawn of it is kept with it. */
import { expect, test } from 'vitest';
import { type Board, boardOf } from '../../src/serve/board.ts';
import { laneOf } from '../../src/serve/lane-props.ts';
import type { LaneProps } from '../../web/props.ts';
import { plannedSource, running } from './planned-source.ts';
import { dayMs, hourMs, type Member, type SceneOptions, sceneOf } from './scene.ts';

const past = [{ state: 'up', agoMs: hourMs }] as const;
const member: Member = { id: 'order-book', name: 'Order book', past };

async function lanes(more: Partial<Member> = {}, options: SceneOptions = {}) {
  const scene = await sceneOf([{ ...member, ...more }], { answers: false, ...options });
  const board = boardOf(scene.options);
  const lane = (): Promise<LaneProps> => laneFrom(board);
  return { scene, lane };
}

function laneFrom(board: Board): Promise<LaneProps> {
  const [card] = board.cards;
  if (!card) throw new Error('no card');
  return laneOf(board, card, { now: board.clock.wallMs(), cards: board.cards });
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

test('how long its certificate lasts is said as the time goes on', async () => {
  const facts = { certificateEndsAt: '2026-11-25T12:42:10Z', certificateWarn: true };
  const { scene, lane } = await lanes({ facts });
  expect((await lane()).remarks).toEqual(['certificate ends in 3\u00a0h']);
  await scene.clock.advance(hourMs);
  expect((await lane()).remarks).toEqual(['certificate ends in 2\u00a0h']);
});
