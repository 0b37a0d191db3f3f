/** The deadline: over once, for one reason; one listener on the daemon's signal, however many probes are under way. */
import { getEventListeners } from 'node:events';
import { expect, test } from 'vitest';
import { startDeadline } from '../../src/probe/deadline.ts';
import { keepInMemory } from '../../src/probe/keep-in-memory.ts';
import { simulatedClock } from '../support/clock-simulated.ts';

function given(signal: AbortSignal = new AbortController().signal) {
  const clock = simulatedClock({ wallMs: 1_795_579_200_000 });
  return { clock, context: { clock, signal, timeoutMs: 1_000, keep: keepInMemory() } };
}

test('when the time is over everyone who waits is called, once', async () => {
  const { clock, context } = given();
  const deadline = startDeadline(context);
  let calls = 0;
  deadline.whenOver(() => calls++);
  const takeBack = deadline.whenOver(() => {
    throw new Error('it was taken back');
  });
  takeBack();
  await clock.advance(999);
  expect([deadline.over(), calls]).toEqual([null, 0]);
  await clock.advance(1);
  expect([deadline.over(), calls, deadline.remainingMs()]).toEqual(['time', 1, 0]);
});

test('hundreds under way share one listener, and the stop ends each that was not released', () => {
  const stopping = new AbortController();
  const { context } = given(stopping.signal);
  const deadlines = Array.from({ length: 300 }, () => startDeadline(context));
  expect(getEventListeners(stopping.signal, 'abort')).toHaveLength(1);
  for (const deadline of deadlines.slice(100)) deadline.release();
  stopping.abort();
  expect(deadlines.filter((deadline) => deadline.over() === 'stopped')).toHaveLength(100);
});

test('after the stop there is no time from the start', () => {
  const stopping = new AbortController();
  stopping.abort();
  expect(startDeadline(given(stopping.signal).context).over()).toBe('stopped');
});
