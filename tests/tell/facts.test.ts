/** What is news of what a service says of itself, and what only moves. */
import { expect, test } from 'vitest';
import {
  changesIn,
  factsNotice,
  factsToldIn,
  knownIn,
  saysSame,
  toldFacts,
} from '../../src/tell/facts.ts';
import { card, fourOClock } from '../support/telling.ts';

test('what moves by itself is not looked at', () => {
  const moving = {
    clockAheadMs: 3_000,
    ageMs: 7,
    certificateDaysLeft: 12,
    certificateWarn: true,
    status: 200,
    answeredFrom: '192.0.2.7:51820',
    said: 'hello 17:04:05',
    vendorIds: 'aa',
  };
  expect(knownIn(moving)).toEqual({});
  expect(saysSame({}, moving)).toBe(true);
});

test('of what is looked at, a value is news where another one was known', () => {
  const before = knownIn({ serverVersion: '15.17', role: 'standby', status: 200 });
  const after = { serverVersion: '15.18', role: 'primary', status: 204 };
  expect(saysSame(before, after)).toBe(false);
  expect(changesIn(before, knownIn(after))).toEqual([
    { fact: 'serverVersion', before: '15.17', after: '15.18' },
    { fact: 'role', before: 'standby', after: 'primary' },
  ]);
});

test('what is not said is no change, and neither is what is said for the first time', () => {
  expect(saysSame({ serverVersion: '15.17' }, { role: undefined } as never)).toBe(true);
  expect(changesIn({ serverVersion: '15.17' }, {})).toEqual([]);
  expect(saysSame({}, { role: 'primary' })).toBe(false);
  expect(changesIn({}, { role: 'primary' })).toEqual([]);
});

test.each([
  [null, null],
  ['', null],
  ['[]', null],
  ['{"known":7}', null],
  [
    '{"known":{"role":"primary","other":"x"},"toldAt":null}',
    { known: { role: 'primary' }, toldAt: null },
  ],
  ['{"known":{"role":"primary"},"toldAt":5}', { known: { role: 'primary' }, toldAt: 5 }],
])('the words %j of the record', (words, told) => {
  expect(factsToldIn(words)).toEqual(told);
});

test('every fact that is told has a word for people', () => {
  for (const word of Object.values(toldFacts)) expect(word).toMatch(/^[a-z ]+$/);
});

const changes = [{ fact: 'serverVersion', before: '15.17', after: '15.18' }] as const;
const given = {
  at: fourOClock,
  newId: () => 'notice-1',
  sayValue: (_: string, value: string) => value,
};

test('only a channel that names facts hears of them', () => {
  const book = card('order-book');
  const channels = [
    { name: 'phone', only: null },
    { name: 'downs', only: { changes: ['down'] } },
    { name: 'facts', only: { changes: ['down', 'facts'] } },
    { name: 'others', only: { changes: ['facts'], services: ['nas'] } },
  ];
  const notice = factsNotice(book, changes, { ...given, channels });
  expect(notice).toMatchObject({
    type: 'rollcall.facts.changed',
    serviceId: 'order-book',
    channels: ['facts'],
    data: {
      summary: 'Order book says something else of itself: version 15.18 in place of 15.17.',
      changes,
    },
  });
  expect(factsNotice(book, changes, { ...given, channels: channels.slice(0, 2) })).toBeNull();
});
