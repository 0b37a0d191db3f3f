/** What is told beside the states, as people read it. */
import { expect, test } from 'vitest';
import { type Situation, say } from '../../src/tell/sentences.ts';

const hour = 3_600_000;
const day = 24 * hour;
const minute = 60_000;

const certificate = {
  kind: 'certificate',
  names: ['Shop'],
  ends: '14 Dec, 09:14',
  isLast: false,
} as const;
const budget = {
  kind: 'budget',
  name: 'Shop',
  objective: 0.995,
  usedMs: 172 * minute,
  allowedMs: 216 * minute,
  outagesCount: 4,
  since: 'Tuesday',
} as const;

const spoken: readonly [Situation, string][] = [
  [
    { ...certificate, leftMs: 13 * day + 23 * hour },
    'The certificate of Shop ends in 13 days, on 14 Dec, 09:14.',
  ],
  [
    { ...certificate, names: ['Shop', 'Photo archive'], leftMs: 2 * day },
    'The certificate of Shop and Photo archive ends in 2 days, on 14 Dec, 09:14.',
  ],
  [
    { ...certificate, leftMs: 47 * hour, isLast: true },
    'The certificate of Shop ends in 1 day 23 h, on 14 Dec, 09:14, and no new one has been seen.',
  ],
  [
    { ...certificate, names: ['A', 'B', 'C', 'D', 'E', 'F', 'G'], leftMs: 40 * minute },
    'The certificate of A, B, C, D, E and 2 more ends in 40 min, on 14 Dec, 09:14.',
  ],
  [
    budget,
    'Shop has used 79 % of the down time that 99.5 % allows in 30 days (2 h 52 min of 3 h 36 min), in 4 outages since Tuesday.',
  ],
  [
    {
      ...budget,
      objective: 0.9995,
      usedMs: 30 * minute,
      allowedMs: 21.6 * minute,
      since: '5 November',
    },
    'Shop has used 138 % of the down time that 99.95 % allows in 30 days (30 min of 22 min), in 4 outages since 5 November.',
  ],
  [
    {
      kind: 'facts',
      name: 'Order book',
      changes: [
        { word: 'version', before: '15.17', after: '15.18' },
        { word: 'role', before: 'standby', after: 'primary' },
      ],
    },
    'Order book says something else of itself: version 15.18 in place of 15.17 and role primary in place of standby.',
  ],
];

test.each(spoken)('%j', (situation, sentence) => {
  expect(say(situation)).toBe(sentence);
});
