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
    'Planned work is over: Sunday updates, on Order book. It is up.',
  ],
  [
    { kind: 'ended', work, services: ['Order book', 'Shop'], unwell: [] },
    'Planned work is over: Sunday updates, on Order book and Shop. All of them are up.',
  ],
  [
    { kind: 'began', work: null, why: 'new disk', services: ['Order book'], forMs: 2_700_000 },
    'Planned work begins on Order book, for 45 min: new disk.',
  ],
  [
    { kind: 'began', work: null, why: null, services: null, forMs: 7_200_000 },
    'Planned work begins on every service, for 2 h.',
  ],
  [
    { kind: 'ended', work: null, services: null, unwell: [] },
    'Planned work is over on every service. All of them are up.',
  ],
  [
    {
      kind: 'ended',
      work,
      services: null,
      unwell: [
        { name: 'Order book', state: 'down', isJob: false },
        { name: 'Shop', state: 'degraded', isJob: false },
        { name: 'VPN', state: 'unobserved', isJob: false },
        { name: 'Nightly backup', state: 'down', isJob: true },
        { name: 'Stock import', state: 'degraded', isJob: true },
      ],
    },
    'Planned work is over: Sunday updates, on every service. Not well: Order book is down, Shop is degraded, VPN is not observed, Nightly backup is failing and Stock import does not work as usual.',
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
