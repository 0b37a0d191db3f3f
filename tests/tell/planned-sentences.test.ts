/** What is said of planned work: situation by situation. */
import { expect, test } from 'vitest';
import { type PlannedSituation, sayPlanned } from '../../src/tell/planned-sentences.ts';

const work = 'Sunday updates';
const table: readonly (readonly [PlannedSituation, string])[] = [
  [
    { kind: 'began', work, why: null, services: ['Order book', 'Shop'], forMs: 2_700_000 },
    'Planned work begins: Sunday updates, on Order book and Shop, for 45 min.',
  ],
  [
    { kind: 'began', work, why: 'new disk', services: null, forMs: 7_200_000 },
    'Planned work begins: Sunday updates (new disk), on every service, for 2 h.',
  ],
  [
    { kind: 'ended', work, services: ['Order book'], unwell: [] },
    'Planned work is over: Sunday updates, on Order book. Everything on it is up.',
  ],
  [
    {
      kind: 'ended',
      work,
      services: null,
      unwell: [
        { name: 'Order book', state: 'down' },
        { name: 'Shop', state: 'degraded' },
        { name: 'VPN', state: 'unobserved' },
      ],
    },
    'Planned work is over: Sunday updates, on every service. Not well: Order book is down, Shop is degraded and VPN is not observed.',
  ],
  [
    { kind: 'over', name: 'Shop', summary: 'Shop is down: refused; Kiln needs it.' },
    'The planned time is over: Shop is still down: refused; Kiln needs it.',
  ],
  [
    { kind: 'over', name: 'Shop', summary: 'Nobody can tell whether Shop is up.' },
    'The planned time is over: Nobody can tell whether Shop is up.',
  ],
];

test.each(table)('%j', (situation, expected) => {
  expect(sayPlanned(situation)).toBe(expected);
});
