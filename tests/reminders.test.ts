/** Reminders at work, with record and outbox, under a simulated clock: who is reminded of what, and until when. */
import { expect, test } from 'vitest';
import { silentLog } from '../src/base/log.ts';
import type { Outage } from '../src/base/values.ts';
import { keepReminding, type Lasting, type RemindersGiven } from '../src/reminders.ts';
import { add, good, setting } from './support/outbox.ts';
import { fourOClock, outage } from './support/telling.ts';

const hour = 3_600_000;
const own = outage('order-book', fourOClock - 60_000);

function lasting(more: Partial<Outage> = {}, urgent = false): Lasting {
  const dataWith = (summary: string) => ({ summary, service: { id: 'order-book' } });
  return { outage: { ...own, ...more }, name: 'Order book', urgent, dataWith };
}

/** A house with one outage that was told at four o'clock on the phone. */
async function reminding(
  more: Partial<RemindersGiven> = {},
  open: readonly Lasting[] = [lasting()],
) {
  const said: string[] = [];
  const outbox = setting(({ data }) => {
    said.push(data.summary);
    return good;
  });
  const { clock, record, start, put } = outbox;
  const held = { lasting: open };
  const delivery = start();
  await put(add('down', { outageId: own.id }));
  delivery.wake();
  await clock.advance(0);
  let nth = 0;
  const begin = () =>
    keepReminding({
      clock,
      record,
      log: silentLog,
      channels: [
        { name: 'phone', remindMs: 4 * hour, quiet: null },
        { name: 'chat', remindMs: 4 * hour, quiet: null },
      ],
      zone: 'UTC',
      lasting: () => held.lasting,
      isPlanned: () => false,
      newId: () => `r${nth++}`,
      wake: delivery.wake,
      ...more,
    });
  const hoursOf = () => outbox.sent.slice(1).map((line) => Number(line.split(' ')[0]) / 3_600);
  return { ...outbox, begin, delivery, held, said, hoursOf };
}

test('reminds who heard of it, ever less often, with how long it has lasted', async () => {
  const { clock, begin, sent, said, hoursOf, delivery } = await reminding();
  const reminders = begin();
  await clock.advance(60 * hour);
  expect(hoursOf()).toEqual([4, 12, 28, 52]);
  expect(sent.every((line) => / phone /.test(line))).toBe(true);
  expect(said[1]).toBe(
    'Order book has been down for 4 h 1 min: nothing listens on 192.0.2.7:5432.',
  );
  reminders.stop();
  await clock.advance(100 * hour);
  expect(hoursOf()).toHaveLength(4);
  await delivery.stop();
});

test('a restart neither repeats nor forgets one', async () => {
  const { clock, begin, hoursOf, delivery } = await reminding();
  for (const hours of [1, 2, 2, 6, 5]) {
    const reminders = begin();
    await clock.advance(hours * hour);
    reminders.stop();
  }
  expect(hoursOf()).toEqual([4, 12]);
  await delivery.stop();
});

test('says nothing any more once somebody said "I know", or it is over', async () => {
  const { clock, record, begin, held, hoursOf, delivery } = await reminding();
  const reminders = begin();
  await clock.advance(5 * hour);
  const nothing = { observations: [], memories: [], spans: [], outages: [], unconfirmed: [] };
  await record.commit({
    ...nothing,
    notices: [],
    known: [{ outageId: own.id, at: clock.wallMs() }],
  });
  await clock.advance(60 * hour);
  expect(hoursOf()).toEqual([4]);
  held.lasting = [];
  await clock.advance(60 * hour);
  expect(hoursOf()).toEqual([4]);
  reminders.stop();
  await delivery.stop();
});

test('says nothing of what lies behind a cause', async () => {
  const { clock, begin, hoursOf, delivery } = await reminding({}, [lasting({ causeId: 'nas' })]);
  const reminders = begin();
  await clock.advance(30 * hour);
  expect(hoursOf()).toEqual([]);
  reminders.stop();
  await delivery.stop();
});

test('waits for the end of planned time, and of quiet hours', async () => {
  const plannedUntil = fourOClock + 6 * hour;
  const planned = await reminding({ isPlanned: (_, at) => at < plannedUntil });
  const first = planned.begin();
  await planned.clock.advance(7 * hour);
  expect(planned.hoursOf().map(Math.floor)).toEqual([6]);
  first.stop();
  await planned.delivery.stop();

  // From 06:00 to 12:00: the reminder of 08:00 comes at 12:00.
  const quiet = { from: 6 * 60, to: 12 * 60 };
  const channels = [{ name: 'phone', remindMs: 4 * hour, quiet }];
  const hushed = await reminding({ channels });
  const second = hushed.begin();
  await hushed.clock.advance(10 * hour);
  expect(hushed.hoursOf()).toEqual([8]);
  second.stop();
  await hushed.delivery.stop();

  const urgent = await reminding({ channels }, [lasting({}, true)]);
  const third = urgent.begin();
  await urgent.clock.advance(10 * hour);
  expect(urgent.hoursOf()).toEqual([4]);
  third.stop();
  await urgent.delivery.stop();
});

test('where no channel reminds, nothing is looked at', async () => {
  const { clock, begin, delivery } = await reminding({
    channels: [{ name: 'phone', remindMs: null, quiet: null }],
    lasting: () => expect.fail('looked'),
  });
  begin();
  await clock.advance(hour);
  await delivery.stop();
});
