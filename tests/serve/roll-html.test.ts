/** The roll is rendered once for all who look in a second in which nothing changes, and anew as soon as something does. */
import { expect, test } from 'vitest';
import { boardOf } from '../../src/serve/board.ts';
import { rollKeeper } from '../../src/serve/roll-html.ts';
import { get, guardedBoards, readToken, signedIn, tokenOn } from './guarded.ts';
import { minuteMs, now, sceneOf } from './scene.ts';

const all = { find: '', group: null };

async function counted() {
  const scene = await sceneOf([{ id: 'a', name: 'A', past: [{ state: 'up', agoMs: minuteMs }] }], {
    answers: false,
  });
  const keep = rollKeeper(boardOf(scene.options));
  let count = 0;
  const ask = async (asked = all) =>
    String((await keep(asked, async () => `page ${++count}`)).bytes);
  return { scene, ask, fail: () => keep(all, () => Promise.reject(new Error('the disk is gone'))) };
}

test('once for all who ask in a second', async () => {
  const { ask, scene } = await counted();
  expect(await Promise.all([ask(), ask(), ask()])).toEqual(['page 1', 'page 1', 'page 1']);
  await scene.clock.advance(1_000);
  expect(await ask()).toBe('page 2');
});

test('each search for itself', async () => {
  const { ask } = await counted();
  expect(await ask()).toBe('page 1');
  expect(await ask({ find: 'kiln', group: null })).toBe('page 2');
  expect(await ask()).toBe('page 1');
});

test.each([
  ['its state', { state: 'down', since: now }],
  ['a doubt about it', { suspect: true }],
  ['its last answer', { last: null }],
] as const)('anew when a service has changed %s', async (_what, change) => {
  const { ask, scene } = await counted();
  await ask();
  const standing = scene.standings.get('a');
  if (standing) scene.standings.set('a', { ...standing, ...change });
  expect(await ask()).toBe('page 2');
});

test('anew when Rollcall itself has a trouble', async () => {
  const { ask, scene } = await counted();
  await ask();
  scene.record.breakWrites('no space is left on the disk');
  expect(await ask()).toBe('page 2');
});

test('a page that could not be made is not kept', async () => {
  const { ask, fail } = await counted();
  await expect(fail()).rejects.toThrow('the disk is gone');
  expect(await ask()).toBe('page 1');
});

test('nobody is handed the page of who is signed in', async () => {
  const boards = guardedBoards();
  const scene = await boards.board();
  const [one, other] = [await signedIn(scene), await signedIn(scene)];
  const tokens = await Promise.all([one, other].map((cookie) => tokenOn(scene, cookie)));
  expect(new Set([...tokens, '']).size).toBe(3);
  const reads = await get(scene, '/', { headers: { authorization: `Bearer ${readToken}` } });
  expect(reads.statusCode).toBe(200);
  expect(reads.body).not.toContain('name="token"');
  await boards.close();
});
