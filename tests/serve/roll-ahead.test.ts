/** The roll is worked out ahead after a start, a service at a time, and never when nobody can ask for it. */
import { expect, test } from 'vitest';
import {
  rollAheadAfterMs,
  rollAheadPauseMs,
  rollAheadServicesCountMax,
} from '../../src/base/limits.ts';
import { begun } from '../../src/serve/roll-ahead.ts';
import { dayMs, sceneOf } from './scene.ts';

const members = ['a', 'b', 'c'].map((id) => ({
  id,
  name: id.toUpperCase(),
  past: [{ state: 'up' as const, agoMs: dayMs }],
}));

async function counted(fails = false) {
  const { options: board, clock } = await sceneOf(members, { answers: false });
  const done: string[] = [];
  const stop = begun({
    board,
    lane: async ({ id }) => {
      if (fails) throw new Error('the disk is gone');
      done.push(id);
    },
    roll: async () => {
      done.push('roll');
    },
  });
  return { clock, done, stop };
}

test('each service for itself, and at last the page', async () => {
  const { clock, done } = await counted();
  await clock.advance(rollAheadAfterMs - 1);
  expect(done).toEqual([]);
  await clock.advance(1);
  expect(done).toEqual(['a']);
  await clock.advance(rollAheadPauseMs - 1);
  expect(done).toEqual(['a']);
  await clock.advance(1);
  expect(done).toEqual(['a', 'b']);
  await clock.advance(10 * rollAheadPauseMs);
  expect(done).toEqual(['a', 'b', 'c', 'roll']);
  expect(clock.pending()).toBe(0);
});

test('of very many nothing is worked out before somebody asks', async () => {
  const { options: board, clock } = await sceneOf(members, { answers: false });
  const [card] = board.cards;
  const cards = Array.from({ length: rollAheadServicesCountMax + 1 }, () => card).filter(
    (one) => one !== undefined,
  );
  const done: string[] = [];
  const work = async () => void done.push('something');
  begun({ board: { ...board, cards }, lane: work, roll: work });
  await clock.advance(dayMs);
  expect(cards).toHaveLength(rollAheadServicesCountMax + 1);
  expect(done).toEqual([]);
});

test('it ends with the board', async () => {
  const { clock, done, stop } = await counted();
  await clock.advance(rollAheadAfterMs);
  stop();
  await clock.advance(dayMs);
  expect(done).toEqual(['a']);
});

test('where the record cannot be read it is left at that', async () => {
  const { clock, done } = await counted(true);
  await clock.advance(dayMs);
  expect(done).toEqual([]);
  expect(clock.pending()).toBe(0);
});

test('the board begins with it when it listens, and then has read each day', async () => {
  const { app, clock, record } = await sceneOf(members);
  const read: string[] = [];
  const { steps } = record;
  record.steps = (serviceId, ...asked) => {
    read.push(serviceId);
    return steps(serviceId, ...asked);
  };
  await clock.advance(dayMs);
  expect(read).toEqual([]);
  await app.listen({ host: '127.0.0.1', port: 0 });
  await clock.advance(rollAheadAfterMs + 5 * rollAheadPauseMs);
  expect(read).toEqual(['a', 'b', 'c']);
  await app.inject({ url: '/' });
  expect(read).toEqual(['a', 'b', 'c']);
  await app.close();
});
