/** A group of the roll is the same thing while it says the same. */
import { expect, test } from 'vitest';
import { boardOf } from '../../src/serve/board.ts';
import { lanesOf } from '../../src/serve/lane-props.ts';
import { groupsOf } from '../../src/serve/roll-groups.ts';
import { hourMs, now, sceneOf } from './scene.ts';

const past = [{ state: 'up', agoMs: hourMs }] as const;
const members = ['Order book', 'Shop'].map((name) => ({ id: name, name, group: 'Studio', past }));

test('until one of its lanes is another, or what all of them share', async () => {
  const scene = await sceneOf(members, { answers: false });
  const made = boardOf(scene.options);
  let estimate = 1;
  const figures: typeof made.figures = {
    ...made.figures,
    group30: async (ids) => ({ ...(await made.figures.group30(ids)), estimate }),
  };
  const board = { ...made, figures };
  const { cards } = board;
  const asked = { find: '', group: null };
  const groups = async (find = '') => {
    const lanes = await lanesOf(board, cards, now);
    return groupsOf(board, { cards, lanes, asked: { ...asked, find } });
  };
  const [first] = await groups();
  expect((await groups())[0]).toBe(first);
  estimate = 0.5;
  const [second] = await groups();
  expect(second?.share).toBe('50.00\u00a0%');
  // A search shows other things of the same group.
  expect((await groups('o'))[0]?.share).toBeNull();
  expect((await groups())[0]).toBe(second);
  scene.standings.set('Shop', { ...scene.options.standingOf('Shop'), state: 'down' });
  expect((await groups())[0]?.count).toBe('2 services, 1 down');
});
