/** "I know": by the id of an outage, or by what people call what is down. */
import { expect, test } from 'vitest';
import { takeAsKnown } from '../src/known.ts';
import { memoryRecord } from './support/record-memory.ts';
import { fourOClock, outage } from './support/telling.ts';

const named = [
  { id: 'order-book', name: 'Order book' },
  { id: 'shop', name: 'Shop' },
];
const open = outage('order-book', fourOClock);
const over = outage('shop', fourOClock, { restoredAt: fourOClock + 60_000 });
const now = fourOClock + 600_000;

async function taken(...words: readonly string[]) {
  const record = memoryRecord();
  const nothing = { observations: [], memories: [], spans: [], unconfirmed: [], notices: [] };
  await record.commit({ ...nothing, outages: [open, over] });
  const said = [];
  for (const [nth, word] of words.entries()) {
    said.push(await takeAsKnown(word, { record, now: now + nth, named }));
  }
  return { record, said };
}

test.each([open.id, 'order-book', 'Order book'])('takes "%s" for the open outage', async (word) => {
  const { record, said } = await taken(word);
  expect(said).toEqual([{ outageId: open.id, name: 'Order book', at: now }]);
  expect(await record.knownAt(open.id)).toBe(now);
});

test('the first time counts', async () => {
  const { said } = await taken('order-book', 'order-book');
  expect(said[1]).toMatchObject({ at: now });
});

test('what is over, up, or unheard of is said', async () => {
  const { record, said } = await taken(over.id, 'shop', 'kiln');
  expect(said).toEqual([
    { complaint: `Shop is up again: the outage \`${over.id}\` is over` },
    { complaint: 'no outage `shop`, and nothing of this id or name is down' },
    { complaint: 'no outage `kiln`, and nothing of this id or name is down' },
  ]);
  expect(await record.knownAt(over.id)).toBeNull();
});
