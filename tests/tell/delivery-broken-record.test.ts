/** The outbox at work while the record cannot be read or written: the watch goes on, and calmly. */
import { expect, test } from 'vitest';
import { add, bad, good, setting } from '../support/outbox.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { fourOClock } from '../support/telling.ts';

/** A record of which one call fails while it is broken; counts the calls. */
function breakable(call: 'dueDeliveries' | 'claim' | 'attempted' | 'deadLetters') {
  const record = memoryRecord();
  const broken = { is: true, callsCount: 0 };
  const original = record[call].bind(record) as (...given: unknown[]) => Promise<unknown>;
  const wrapped = async (...given: unknown[]) => {
    broken.callsCount++;
    if (broken.is) throw new Error('the disk is full');
    return original(...given);
  };
  return { broken, record: { ...record, [call]: wrapped } };
}

const ofOne = { observations: [], memories: [], spans: [], outages: [], unconfirmed: [] };

test('a result that cannot be recorded repeats no message, is tried at a calm pace, and recorded in the end', async () => {
  const { record, broken } = breakable('attempted');
  const { clock, sent, start } = setting(() => good, { record });
  await record.commit({ ...ofOne, notices: [add('n1'), add('other', { outageId: 'shop.1' })] });
  const delivery = start();
  await clock.advance(600_000);
  expect(sent).toEqual(['0 phone n1', '0 phone other']);
  expect(broken.callsCount).toBeGreaterThan(10);
  expect(broken.callsCount).toBeLessThan(200);
  broken.is = false;
  await clock.advance(20_000);
  expect(await record.deliveriesOf('order-book.1')).toMatchObject([
    { state: 'delivered', attempts: [{ at: fourOClock }] },
  ]);
  expect(await record.nextDeliveryAt()).toBeNull();
  await delivery.stop();
});

test('results that wait to be recorded hide no message of another outage', async () => {
  const { record } = breakable('attempted');
  const { clock, sent, start } = setting(() => good, { record });
  const notices = Array.from({ length: 20 }, (_, nth) => add(`n${nth}`, { outageId: `o${nth}` }));
  await record.commit({ ...ofOne, notices });
  const delivery = start();
  await clock.advance(60_000);
  expect(sent).toHaveLength(20);
  await delivery.stop();
});

test('while results cannot be recorded, retries go on with growing pauses', async () => {
  const { record } = breakable('attempted');
  const { clock, sent, start } = setting(() => bad, { record });
  await record.commit({ ...ofOne, notices: [add('n1')] });
  const delivery = start();
  await clock.advance(3_600_000);
  expect(sent.length).toBeGreaterThan(5);
  expect(sent.length).toBeLessThan(30);
  await delivery.stop();
});

test('a claim that cannot be written does not keep a message back', async () => {
  const { record } = breakable('claim');
  const { clock, sent, start } = setting(() => good, { record });
  await record.commit({ ...ofOne, notices: [add('n1')] });
  const delivery = start();
  await clock.advance(60_000);
  expect(sent).toEqual(['0 phone n1']);
  await delivery.stop();
});

test('an outbox that cannot be read is looked at again, calmly', async () => {
  const { record, broken } = breakable('dueDeliveries');
  const { clock, sent, start } = setting(() => good, { record });
  await record.commit({ ...ofOne, notices: [add('n1')] });
  const delivery = start();
  await clock.advance(60_000);
  expect(broken.callsCount).toBeLessThan(10);
  broken.is = false;
  await clock.advance(10_000);
  expect(sent).toHaveLength(1);
  await delivery.stop();
});

test('dead letters that cannot be read are no reason not to tell', async () => {
  const { record } = breakable('deadLetters');
  const { clock, sent, start } = setting(() => good, { record });
  await record.commit({ ...ofOne, notices: [add('n1')] });
  const delivery = start();
  await clock.advance(0);
  expect(sent).toHaveLength(1);
  await delivery.stop();
});

test('a record that never lets go of a delivery makes no hot loop', async () => {
  const record = { ...memoryRecord(), claim: async () => false };
  let looksCount = 0;
  const counted = {
    ...record,
    dueDeliveries: (now: number, countMax: number) => {
      looksCount++;
      return record.dueDeliveries(now, countMax);
    },
  };
  const { clock, sent, start } = setting(() => good, { record: counted });
  await record.commit({ ...ofOne, notices: [add('n1')] });
  const delivery = start();
  await clock.advance(60_000);
  expect(sent).toEqual([]);
  expect(looksCount).toBeLessThan(70);
  await delivery.stop();
});
