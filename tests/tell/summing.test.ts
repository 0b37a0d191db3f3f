/** Quiet hours at the outbox: what is put off, summed up, and sent all the same, under a simulated clock. */
import { expect, test } from 'vitest';
import type { Notice } from '../../src/record/record.ts';
import type { QuietHours } from '../../src/tell/quiet.ts';
import { add, bad, good, setting } from '../support/outbox.ts';
import { outage as downOutage, fourOClock } from '../support/telling.ts';

/** The tests begin at 04:00: quiet since 22:30, until 07:00, three hours on. */
const quiet: QuietHours = { from: 22 * 60 + 30, to: 7 * 60 };
const hour = 3_600_000;

const ways = () => {
  let nth = 0;
  return {
    zone: 'UTC',
    urgentIds: ['nas'],
    sayInstant: (at: number) => new Date(at).toISOString().slice(11, 16),
    newId: () => `sum${nth++}`,
  };
};

const quietPhone = () => ({
  channels: [{ name: 'phone', quiet }, { name: 'chat' }],
  ways: ways(),
});

const outage = (firstFailedAt: number, restoredAt: number | null) => ({
  firstFailedAt: new Date(firstFailedAt).toISOString(),
  restoredAt: restoredAt === null ? null : new Date(restoredAt).toISOString(),
});

function of(id: string, more: Partial<Notice> = {}): Partial<Notice> {
  return { serviceId: id, outageId: `${id}.1`, ...more };
}

test('what is not urgent waits for the end of the quiet hours; one alone goes out as it is', async () => {
  const { clock, record, sent, start, put } = setting(() => good, quietPhone());
  await put(
    add('n1', { channels: ['phone', 'chat'] }),
    add('urgent', of('nas')),
    add('test', { type: 'rollcall.test', serviceId: null, outageId: null }),
  );
  const delivery = start();
  await clock.advance(3 * hour - 1);
  expect(sent.toSorted()).toEqual(['0 chat n1', '0 phone test', '0 phone urgent']);
  expect(await record.delivery('n1', 'phone')).toMatchObject({ state: 'waiting', attempts: [] });
  await clock.advance(1);
  expect(sent.at(-1)).toBe('10800 phone n1');
  expect(sent).toHaveLength(4);
  await delivery.stop();
});

test('more than one is summed up in one message', async () => {
  const texts: unknown[] = [];
  const { clock, record, sent, start, put } = setting(({ data }) => {
    texts.push(data['text']);
    return good;
  }, quietPhone());
  const delivery = start();
  const down = {
    summary: 'down',
    service: { name: 'Order book' },
    outage: outage(fourOClock, null),
  };
  await put(add('down', { data: down }));
  delivery.wake();
  await clock.advance(hour);
  const up = { ...down, outage: outage(fourOClock, fourOClock + hour / 2) };
  await put(add('up', { type: 'rollcall.service.up', data: up }));
  delivery.wake();
  await clock.advance(2 * hour);
  expect(sent).toEqual(['10800 phone sum0']);
  expect(texts).toEqual(['Order book was down 04:00–04:30 (30 min), is up again.']);
  expect(await record.deliveriesOf('order-book.1')).toMatchObject([
    { state: 'folded', foldedInto: 'sum0', attempts: [] },
    { state: 'folded', foldedInto: 'sum0', attempts: [] },
  ]);
  await clock.advance(24 * hour);
  expect(sent).toHaveLength(1);
  await delivery.stop();
});

test('one alone that does not hold any more is told as it was: its channel does not hear that it is over', async () => {
  const texts: unknown[] = [];
  const { clock, record, sent, start, put } = setting(({ data }) => {
    texts.push(data['text']);
    return good;
  }, quietPhone());
  const delivery = start();
  await put(add('down', { data: { summary: 'down', outage: outage(fourOClock, null) } }));
  const ended = downOutage('order-book', fourOClock, {
    id: 'order-book.1',
    restoredAt: fourOClock + hour / 2,
  });
  await record.commit({
    ...{ observations: [], memories: [], spans: [], unconfirmed: [], notices: [] },
    outages: [ended],
  });
  await clock.advance(3 * hour);
  expect(sent).toEqual(['10800 phone sum0']);
  expect(texts).toEqual(['order-book was down 04:00–04:30 (30 min), is up again.']);
  await delivery.stop();
});

test('a restart amid the quiet hours, or after them, loses nothing', async () => {
  const { clock, sent, start, put } = setting(() => good, quietPhone());
  const first = start();
  await put(add('n1'), add('n2', of('shop')));
  first.wake();
  await clock.advance(hour);
  await first.stop();
  const second = start();
  await clock.advance(hour);
  await second.stop();
  expect(sent).toEqual([]);
  clock.stall(2 * hour);
  const third = start();
  await clock.advance(0);
  expect(sent).toEqual(['14400 phone sum0']);
  await third.stop();
});

test('a configuration without quiet hours sends at once what waited for their end', async () => {
  const { clock, sent, start, put } = setting(() => good);
  await put(add('n1'), add('n2', of('shop')));
  const delivery = start();
  await clock.advance(0);
  expect(sent).toEqual(['0 phone n1', '0 phone n2']);
  await delivery.stop();
});

test('what a receiver did not take before the quiet hours is summed up with the rest', async () => {
  const evening = 6 * hour;
  let isWell = false;
  const { clock, record, sent, start, put } = setting(() => (isWell ? good : bad), quietPhone());
  clock.step(-evening);
  const delivery = start();
  const at = fourOClock - evening;
  await put(add('down', { at, notBefore: at }));
  delivery.wake();
  await clock.advance(evening - 30 * 60_000);
  const triedCount = sent.length;
  expect(triedCount).toBeGreaterThan(5);
  isWell = true;
  await clock.advance(hour);
  const up = at + evening + 30 * 60_000;
  await put(add('up', { type: 'rollcall.service.up', at: up, notBefore: up }));
  delivery.wake();
  await clock.advance(2.5 * hour);
  expect(sent.slice(triedCount).map((line) => line.split(' ')[2])).toEqual(['sum0']);
  expect(await record.nextDeliveryAt()).toBeNull();
  await delivery.stop();
});

test('what comes while the sum is on its way waits behind it, where it is about the same', async () => {
  let isWell = false;
  const { clock, sent, start, put } = setting(({ id }) => {
    return id === 'sum0' && !isWell ? bad : good;
  }, quietPhone());
  await put(add('n1'), add('n2', of('shop')));
  const delivery = start();
  await clock.advance(3 * hour);
  expect(sent).toEqual(['10800 phone sum0']);
  const at = fourOClock + 3 * hour;
  await put(add('up', { at, notBefore: at }), add('other', { ...of('wiki'), at, notBefore: at }));
  delivery.wake();
  await clock.advance(10_000);
  expect(sent.filter((line) => !line.endsWith('sum0'))).toEqual(['10800 phone other']);
  isWell = true;
  await clock.advance(hour);
  expect(sent.slice(-2).map((line) => line.split(' ')[2])).toEqual(['sum0', 'up']);
  await delivery.stop();
});

test('what is urgent and could not be delivered in the night stays a message of its own', async () => {
  let isWell = false;
  const { clock, record, sent, start, put } = setting(({ id }) => {
    return id === 'urgent' && !isWell ? bad : good;
  }, quietPhone());
  await put(add('n1'), add('n2', of('shop')), add('urgent', of('nas')));
  const delivery = start();
  await clock.advance(3 * hour);
  isWell = true;
  await clock.advance(hour);
  expect(await record.delivery('urgent', 'phone')).toMatchObject({ state: 'delivered' });
  expect(sent.filter((line) => !line.endsWith('urgent'))).toEqual(['10800 phone sum0']);
  await delivery.stop();
});

test('a digest is a message of its own: it waits, and keeps its words', async () => {
  const { clock, sent, start, put } = setting(() => good, quietPhone());
  const digest = { type: 'rollcall.digest', serviceId: null, outageId: null };
  await put(add('n1'), add('n2', of('shop')), add('month', digest));
  const delivery = start();
  await clock.advance(3 * hour);
  expect(sent).toEqual(['10800 phone month', '10800 phone sum0']);
  await delivery.stop();
});
