/** The outbox at work, under a simulated clock: what is sent when, and in which order. */
import { expect, test } from 'vitest';
import { deadLetterAfterMs } from '../../src/base/limits.ts';
import { type Log, silentLog } from '../../src/base/log.ts';
import type { Answer } from '../../src/tell/webhook.ts';
import { add, type Behaviour, bad, good, promised, setting } from '../support/outbox.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { fourOClock, notice } from '../support/telling.ts';

test('a notice is sent when its time has come, and once', async () => {
  const { clock, record, sent, start, put } = setting(() => good);
  const delivery = start();
  await put(add('n1', { notBefore: fourOClock + 20_000 }));
  delivery.wake();
  await clock.advance(19_999);
  expect(sent).toEqual([]);
  await clock.advance(1);
  expect(sent).toEqual(['20 phone n1']);
  await clock.advance(3_600_000);
  expect(sent).toHaveLength(1);
  expect(await record.deliveriesOf('order-book.1')).toMatchObject([
    {
      state: 'delivered',
      attempts: [{ at: fourOClock + 20_000, status: 204, detail: 'answered 204' }],
    },
  ]);
  await delivery.stop();
});

test('what waits at the start is sent without being woken', async () => {
  const { clock, sent, start, put } = setting(() => good);
  await put(add('n1'));
  const delivery = start();
  await clock.advance(0);
  expect(sent).toEqual(['0 phone n1']);
  await delivery.stop();
});

test('what was withdrawn before its time is never sent', async () => {
  const { clock, sent, start, put } = setting(() => good);
  const delivery = start();
  await put(add('down', { notBefore: fourOClock + 20_000 }));
  delivery.wake();
  await clock.advance(5_000);
  await put({
    kind: 'restore',
    outageId: 'order-book.1',
    notice: notice('up', { at: fourOClock + 5_000 }),
  });
  delivery.wake();
  await clock.advance(3_600_000);
  expect(sent).toEqual([]);
  await delivery.stop();
});

test('a receiver in trouble is tried again, and the next message of the lane waits for its turn', async () => {
  let leftCount = 5;
  const { clock, record, sent, start, put } = setting(() => (leftCount-- > 0 ? bad : good));
  const delivery = start();
  await put(
    add('down'),
    add('up', { type: 'rollcall.service.up' }),
    add('other', { outageId: 'shop.1' }),
  );
  delivery.wake();
  await clock.advance(0);
  expect(sent).toEqual(['0 phone down', '0 phone other']);
  await clock.advance(120_000);
  const down = sent.filter((line) => line.endsWith(' down'));
  const up = sent.filter((line) => line.endsWith(' up'));
  expect(down.length + sent.filter((line) => line.endsWith(' other')).length).toBe(7);
  expect(up).toHaveLength(1);
  expect(sent.indexOf(down.at(-1) ?? '')).toBeLessThan(sent.indexOf(up[0] ?? ''));
  expect(await record.nextDeliveryAt()).toBeNull();
  await delivery.stop();
});

test('pauses double from one second (half of the whole pause of 2 s) on', async () => {
  const { clock, sent, start, put } = setting(() => bad);
  await put(add('n1'));
  const delivery = start();
  await clock.advance(64_000);
  expect(sent.map((line) => line.split(' ')[0])).toEqual(['0', '1', '3', '7', '15', '31', '63']);
  await delivery.stop();
});

test('Retry-After holds the next attempt back', async () => {
  const { clock, sent, start, put } = setting(() => ({ ...bad, retryAfterMs: 90_000 }));
  await put(add('n1'));
  const delivery = start();
  await clock.advance(89_999);
  expect(sent).toHaveLength(1);
  await clock.advance(1);
  expect(sent).toEqual(['0 phone n1', '90 phone n1']);
  await delivery.stop();
});

test('a permanent refusal is a dead letter at once, and the next message of the lane goes on', async () => {
  const gone: Answer = {
    status: 410,
    reception: 'refused',
    detail: 'answered 410',
    retryAfterMs: null,
  };
  const { clock, record, state, sent, start, put } = setting(({ id }) =>
    id === 'down' ? gone : good,
  );
  await put(add('down'), add('up', { type: 'rollcall.service.up' }));
  const delivery = start();
  await clock.advance(0);
  expect(sent).toEqual(['0 phone down', '0 phone up']);
  expect(await record.deadLetters(9)).toMatchObject([{ notice: { id: 'down' } }]);
  expect(state.state()).toMatchObject({
    channels: [{ name: 'phone', lastDeliveredAt: fourOClock, waitingCount: 0 }, { name: 'chat' }],
    deadLetters: [{ noticeId: 'down', detail: 'answered 410' }],
  });
  await delivery.stop();
});

test('after a day in vain it is a dead letter, with a bounded number of attempts', async () => {
  const { clock, record, sent, start, put } = setting(() => bad);
  await put(add('n1'));
  const delivery = start();
  await clock.advance(deadLetterAfterMs - 1);
  expect(await record.deadLetters(9)).toEqual([]);
  await clock.advance(3_600_000);
  expect(await record.deadLetters(9)).toHaveLength(1);
  expect(sent.length).toBeGreaterThan(50);
  expect(sent.length).toBeLessThan(250);
  await delivery.stop();
});

test('a channel that is no longer configured makes a dead letter that says so', async () => {
  const { clock, record, sent, start, put } = setting(() => good);
  await put(add('n1', { channels: ['pager'] }));
  const delivery = start();
  await clock.advance(0);
  expect(sent).toEqual([]);
  expect(await record.deadLetters(9)).toMatchObject([
    { channel: 'pager', attempts: [{ detail: 'the channel "pager" is no longer configured' }] },
  ]);
  await delivery.stop();
});

test('eight lanes at a time, one message each; a slow one holds nobody else up', async () => {
  const answers = new Map<string, (answer: Answer) => void>();
  const { clock, start, put } = setting(({ id }) => {
    const { promise, keep } = promised<Answer>();
    answers.set(id, keep);
    return promise;
  });
  for (let nth = 0; nth < 12; nth++) {
    await put(add(`n${nth}`, { outageId: `o${nth}` }), add(`m${nth}`, { outageId: `o${nth}` }));
  }
  const delivery = start();
  await clock.advance(5_000);
  expect([...answers.keys()]).toEqual(['n0', 'n1', 'n2', 'n3', 'n4', 'n5', 'n6', 'n7']);
  answers.get('n3')?.(good);
  await clock.advance(0);
  expect([...answers.keys()]).toHaveLength(9);
  // n0 never answers; all others get their turn, each lane in its order.
  for (let lap = 0; lap < 12; lap++) {
    for (const [id, answer] of answers) if (id !== 'n0') answer(good);
    await clock.advance(0);
  }
  expect(answers.size).toBe(23);
  expect(answers.has('m0')).toBe(false);
  answers.get('n0')?.(good);
  await clock.advance(0);
  expect(answers.has('m0')).toBe(true);
  answers.get('m0')?.(good);
  await delivery.stop();
});

test('while one attempt runs, what falls due elsewhere is not forgotten', async () => {
  const { clock, sent, start, put } = setting(({ id }) =>
    id === 'slow' ? promised<Answer>().promise : good,
  );
  await put(add('slow'), add('later', { outageId: 'shop.1', notBefore: fourOClock + 3_000 }));
  const delivery = start();
  await clock.advance(4_000);
  expect(sent.map((line) => line.split(' ')[2])).toEqual(['slow', 'later']);
  const stopped = delivery.stop();
  await clock.advance(2_000);
  await stopped;
});

test('a wall clock that jumped is noticed within a minute', async () => {
  const { clock, sent, start, put } = setting(() => good);
  await put(add('n1', { notBefore: fourOClock + 86_400_000 }));
  const delivery = start();
  await clock.advance(1_000);
  clock.step(86_400_000);
  await clock.advance(60_000);
  expect(sent).toHaveLength(1);
  await delivery.stop();
});

test('stopping waits for a running attempt and records it', async () => {
  const answer = promised<Answer>();
  const { clock, record, sent, start, put } = setting(() => answer.promise);
  await put(add('n1'), add('n2'));
  const delivery = start();
  await clock.advance(0);
  const stopped = delivery.stop();
  await clock.advance(1_000);
  answer.keep(good);
  await stopped;
  expect(clock.pending()).toBe(0);
  expect(await record.deliveriesOf('order-book.1')).toMatchObject([
    { state: 'delivered' },
    { state: 'waiting' },
  ]);
  await clock.advance(60_000);
  expect(sent).toHaveLength(1);
});

test('an attempt that does not end within 2 s of stopping is as if never answered, and is made again after a start', async () => {
  let isCut = false;
  const cutOff: Behaviour = (_, __, signal) =>
    new Promise((resolve) => {
      signal.addEventListener('abort', () => {
        isCut = true;
        resolve({ status: 204, reception: 'taken', detail: 'too late', retryAfterMs: null });
      });
    });
  let behave: Behaviour = cutOff;
  const { clock, record, sent, start, put } = setting((...given) => behave(...given));
  await put(add('n1'));
  const delivery = start();
  await clock.advance(0);
  const stopped = delivery.stop();
  await clock.advance(1_999);
  expect(isCut).toBe(false);
  await clock.advance(1);
  await stopped;
  expect(isCut).toBe(true);
  await clock.advance(60_000);
  expect(await record.deliveriesOf('order-book.1')).toMatchObject([
    { state: 'waiting', attempts: [] },
  ]);

  behave = () => good;
  const again = start();
  await clock.advance(0);
  expect(sent).toHaveLength(2);
  expect(await record.deliveriesOf('order-book.1')).toMatchObject([{ state: 'delivered' }]);
  await again.stop();
});

test('what is about to begin when the daemon stops does not begin', async () => {
  const claim = promised<boolean>();
  const record = { ...memoryRecord(), claim: () => claim.promise };
  const { clock, sent, start } = setting(() => good, { record });
  await record.commit({
    observations: [],
    memories: [],
    spans: [],
    outages: [],
    unconfirmed: [],
    notices: [add('n1')],
  });
  const delivery = start();
  await clock.advance(0);
  const stopped = delivery.stop();
  claim.keep(true);
  await stopped;
  expect(sent).toEqual([]);
});

test('stopping at once, before anything was read, ends and sends nothing', async () => {
  const { clock, sent, start, put } = setting(() => good);
  await put(add('n1'));
  const delivery = start();
  await delivery.stop();
  await clock.advance(60_000);
  expect(sent).toEqual([]);
});

test('a sender that throws is a failed attempt, not the end', async () => {
  const errors: string[] = [];
  const log: Log = { ...silentLog, error: (_, message) => void errors.push(message) };
  let isBroken = true;
  const { clock, record, start, put } = setting(
    () => {
      if (isBroken) throw new TypeError('a defect');
      return good;
    },
    { log },
  );
  await put(add('n1'));
  const delivery = start();
  await clock.advance(0);
  expect(errors).toEqual(['a sender is defective']);
  isBroken = false;
  await clock.advance(2_000);
  expect(await record.deliveriesOf('order-book.1')).toMatchObject([
    {
      state: 'delivered',
      attempts: [{ status: null, detail: 'the message could not be sent' }, { status: 204 }],
    },
  ]);
  await delivery.stop();
});

test('dead letters of earlier runs are shown', async () => {
  const { clock, record, state, start, put } = setting(() => good);
  await put(add('old'));
  await record.attempted({
    noticeId: 'old',
    channel: 'phone',
    at: fourOClock,
    tookMs: 1,
    status: 404,
    detail: 'answered 404',
    next: { state: 'dead' },
  });
  const delivery = start();
  await clock.advance(0);
  expect(state.state().deadLetters).toMatchObject([{ noticeId: 'old', detail: 'answered 404' }]);
  await delivery.stop();
});
