/** What waits is bounded, and what matters least gives way first. */
import { expect, test } from 'vitest';
import { createQueue, type Task } from '../../src/record/sqlite/queue.ts';
import { answered, failed, t0 } from './support/values.ts';

const task = (what: string): Task => ({ what, apply: () => true });
const routine = (at: number) => ({ serviceId: 'shop', observation: answered(t0 + at) });
const decisive = (at: number) => ({ serviceId: 'shop', observation: failed(t0 + at) });

test('the oldest routine observations give way first, and are counted', () => {
  const queue = createQueue(100);
  for (let at = 0; at < 100; at++) queue.observe(routine(at));
  expect(queue.droppedCount()).toBe(0);
  queue.observe(routine(100));
  // One too many, and one in a hundred besides.
  expect(queue.droppedCount()).toBe(2);
  expect(queue.observationsOf('shop').at(0)?.at).toBe(t0 + 2);
  expect(queue.observationsOf('shop').at(-1)?.at).toBe(t0 + 100);
});

test('a change and its observations stay as long as there is a routine observation', () => {
  const queue = createQueue(100);
  queue.add(task('first'), [decisive(0)]);
  for (let at = 1; at <= 500; at++) queue.observe(routine(at));
  expect(queue.tasks()).toHaveLength(1);
  expect(queue.observationsOf('shop').at(0)).toEqual(failed(t0));
  expect(queue.count() + queue.droppedCount()).toBe(502);
});

test('changes alone are bounded as well: the oldest is lost, never the newest', () => {
  const queue = createQueue(100);
  queue.observe(routine(0));
  for (let at = 1; at <= 50; at++) queue.add(task(`change ${at}`), []);
  const left = queue.tasks().map(({ what }) => what);
  expect(left.length).toBeLessThanOrEqual(6);
  expect(left.at(-1)).toBe('change 50');
  expect(queue.count() + queue.droppedCount()).toBe(51);
});

test('a single change is kept however large', () => {
  const queue = createQueue(4);
  queue.add(task('large'), [decisive(0), decisive(1), decisive(2), decisive(3), decisive(4)]);
  expect(queue.tasks()).toHaveLength(1);
  expect(queue.entries()).toHaveLength(5);
});

test('another service has nothing waiting', () => {
  const queue = createQueue();
  queue.observe(routine(0));
  expect(queue.observationsOf('nas')).toEqual([]);
});
