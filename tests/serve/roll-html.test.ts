/** The roll is rendered once for all who look in a second in which nothing changes, and anew as soon as something does. */
import { brotliDecompressSync, gunzipSync } from 'node:zlib';
import { expect, test } from 'vitest';
import type { PlannedWindow } from '../../src/base/values.ts';
import { boardOf } from '../../src/serve/board.ts';
import { rollKeeper } from '../../src/serve/roll-html.ts';
import type { TellState } from '../../src/tell/state.ts';
import { get, guardedBoards, readToken, signedIn, tokenOn } from './guarded.ts';
import { plannedSource, running, toCome } from './planned-source.ts';
import { minuteMs, nothing, now, type SceneOptions, sceneOf } from './scene.ts';

const all = { find: '', group: null };

async function counted(options: SceneOptions = {}) {
  const scene = await sceneOf([{ id: 'a', name: 'A', past: [{ state: 'up', agoMs: minuteMs }] }], {
    answers: false,
    ...options,
  });
  const keep = rollKeeper(boardOf(scene.options));
  let count = 0;
  const ask = async (asked = all) =>
    String((await keep(asked, async () => `page ${++count}`)).bytes);
  return {
    scene,
    keep,
    ask,
    fail: () => keep(all, () => Promise.reject(new Error('the disk is gone'))),
  };
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

test.each([
  ['was damaged', { damage: 'The file was damaged.' }],
  ['lost something', { droppedCount: 1 }],
])('anew when the record %s', async (_what, change) => {
  const { ask, scene } = await counted();
  await ask();
  const { health } = scene.record;
  scene.record.health = () => ({ ...health(), ...change });
  expect(await ask()).toBe('page 2');
});

test('anew when a window of planned work begins or ends, and when another one is to come', async () => {
  const windows: PlannedWindow[] = [];
  const planned = { ...plannedSource([]), running: () => windows };
  const { ask, scene } = await counted({ planned });
  await ask();
  windows.push(running);
  expect(await ask()).toBe('page 2');
  windows[0] = { ...running, to: running.to + minuteMs };
  expect(await ask()).toBe('page 3');
  windows.pop();
  expect(await ask()).toBe('page 4');
  await scene.record.commit({ ...nothing, planned: [toCome] });
  expect(await ask()).toBe('page 5');
});

test('anew when a notice was not taken, was taken after all, or is given up', async () => {
  const phone = { name: 'phone', lastDeliveredAt: null, lastFailure: null, waitingCount: 0 };
  const lastFailure = { at: now, detail: 'it answered 500' };
  const dead = { noticeId: '1', channel: 'phone', at: now, summary: 'A is down.', detail: '404' };
  let state: TellState = { channels: [phone], deadLetters: [] };
  const { ask } = await counted({ telling: () => state });
  expect(await ask()).toBe('page 1');
  const later: readonly TellState[] = [
    { channels: [{ ...phone, lastFailure }], deadLetters: [] },
    { channels: [{ ...phone, lastFailure, waitingCount: 1 }], deadLetters: [] },
    { channels: [{ ...phone, lastFailure, lastDeliveredAt: now + 1 }], deadLetters: [] },
    { channels: [{ ...phone, lastFailure, lastDeliveredAt: now + 1 }], deadLetters: [dead] },
  ];
  for (const [nth, next] of later.entries()) {
    state = next;
    expect(await ask()).toBe(`page ${nth + 2}`);
    expect(await ask()).toBe(`page ${nth + 2}`);
  }
});

test('anew when Rollcall says another thing of itself, as after a configuration that was refused', async () => {
  const troubles = ['The configuration was read again and changes nothing: line 3.'];
  const { options } = await sceneOf([]);
  const { ask } = await counted({ self: () => ({ ...options.self(), troubles }) });
  await ask();
  troubles[0] = 'The configuration was read again and changes nothing: line 4.';
  expect(await ask()).toBe('page 2');
});

test('what changes while a page is made is on the next one', async () => {
  const { keep, scene } = await counted();
  const standing = scene.options.standingOf('a');
  const first = keep(all, async () => {
    scene.standings.set('a', { ...standing, state: 'down' });
    return 'of before';
  });
  expect(String((await first).bytes)).toBe('of before');
  expect(String((await keep(all, async () => 'of after')).bytes)).toBe('of after');
});

test('compressed once for all who ask in a second', async () => {
  const { keep } = await counted();
  const page = await keep(all, async () => 'page '.repeat(1_000));
  for (const [encoding, unpack] of [
    ['br', brotliDecompressSync],
    ['gzip', gunzipSync],
  ] as const) {
    const bytes = await page.as(encoding);
    expect(unpack(bytes).equals(page.bytes)).toBe(true);
    expect(await page.as(encoding)).toBe(bytes);
  }
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
