/** What the board learns of telling itself. */
import { expect, test } from 'vitest';
import { deadLettersCountMax } from '../../src/base/limits.ts';
import type { Attempt } from '../../src/record/record.ts';
import { keepTellState } from '../../src/tell/state.ts';
import { fourOClock, notice } from '../support/telling.ts';

const waiting = { state: 'waiting', nextAttemptAt: fourOClock + 60_000 } as const;

function attempt(noticeId: string, next: Attempt['next'], more: Partial<Attempt> = {}): Attempt {
  return {
    noticeId,
    channel: 'phone',
    at: fourOClock,
    tookMs: 12,
    status: null,
    detail: 'nothing listens there',
    next,
    ...more,
  };
}

test('a channel that was never used is listed all the same', () => {
  expect(keepTellState(['phone', 'chat']).state()).toEqual({
    channels: [
      { name: 'phone', lastDeliveredAt: null, lastFailure: null, waitingCount: 0 },
      { name: 'chat', lastDeliveredAt: null, lastFailure: null, waitingCount: 0 },
    ],
    deadLetters: [],
  });
});

test('failures are remembered and counted until the notice gets through', () => {
  const keeper = keepTellState(['phone']);
  keeper.attempted(attempt('1', waiting), notice('1'));
  keeper.attempted(attempt('1', waiting, { at: fourOClock + 1 }), notice('1'));
  keeper.attempted(attempt('2', waiting), notice('2'));
  expect(keeper.state().channels).toEqual([
    {
      name: 'phone',
      lastDeliveredAt: null,
      lastFailure: { at: fourOClock, detail: 'nothing listens there' },
      waitingCount: 2,
    },
  ]);
  const delivered = { state: 'delivered' } as const;
  keeper.attempted(attempt('1', delivered, { at: fourOClock + 9, status: 204 }), notice('1'));
  expect(keeper.state().channels).toMatchObject([
    { lastDeliveredAt: fourOClock + 9, lastFailure: { at: fourOClock }, waitingCount: 1 },
  ]);
});

test('dead letters stand newest first, those of earlier runs after those of this one, and are bounded', () => {
  const keeper = keepTellState(['phone']);
  const dead = { state: 'dead' } as const;
  keeper.attempted(attempt('new', dead), notice('new'));
  keeper.remembered([
    {
      notice: notice('old'),
      channel: 'chat',
      state: 'dead',
      attempts: [
        { at: fourOClock - 2, tookMs: 1, status: 503, detail: 'answered 503' },
        { at: fourOClock - 1, tookMs: 1, status: 410, detail: 'answered 410' },
      ],
      foldedInto: null,
      fallbackFor: null,
    },
  ]);
  expect(keeper.state().deadLetters).toEqual([
    {
      noticeId: 'new',
      channel: 'phone',
      at: fourOClock,
      summary: 'Order book is down.',
      detail: 'nothing listens there',
    },
    {
      noticeId: 'old',
      channel: 'chat',
      at: fourOClock - 1,
      summary: 'Order book is down.',
      detail: 'answered 410',
    },
  ]);
  expect(keeper.state().channels).toMatchObject([{ waitingCount: 0 }]);
  for (let nth = 0; nth < 100; nth++) {
    keeper.attempted(attempt(`n${nth}`, dead), notice(`n${nth}`));
  }
  expect(keeper.state().deadLetters).toHaveLength(deadLettersCountMax);
  expect(keeper.state().deadLetters[0]?.noticeId).toBe('n99');
});

test('a dead letter of a channel that is gone is shown as well', () => {
  const keeper = keepTellState([]);
  keeper.attempted(attempt('1', { state: 'dead' }, { channel: 'gone' }), notice('1'));
  expect(keeper.state()).toMatchObject({ channels: [], deadLetters: [{ channel: 'gone' }] });
});
