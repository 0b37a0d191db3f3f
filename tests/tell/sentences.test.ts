/** The sentences as people read them. */
import { expect, test } from 'vitest';
import { reasons } from '../../src/base/reasons.ts';
import type { Trouble } from '../../src/base/values.ts';
import { type Situation, say } from '../../src/tell/sentences.ts';

const refused: Trouble = {
  layer: 'port',
  reason: 'refused',
  detail: 'nothing listens on db.fernhill.home.arpa:5432',
  hint: 'Is the service started?',
};
const slow: Trouble = { layer: 'answer', reason: 'slow', detail: '', hint: '' };

const calm = { kind: 'steady', name: 'Shop', trouble: null, cause: null, affected: [] } as const;

const spoken: readonly [Situation, string][] = [
  [
    { kind: 'down', name: 'Order book', trouble: refused, affected: [] },
    'Order book is down: nothing listens on db.fernhill.home.arpa:5432.',
  ],
  [
    {
      kind: 'down',
      name: 'NAS',
      trouble: { ...refused, detail: 'there is no way to the host of nas.fernhill.home.arpa:445.' },
      affected: ['Photo archive', 'Shop', 'Nightly backup'],
    },
    'NAS is down: there is no way to the host of nas.fernhill.home.arpa:445; Photo archive, Shop and Nightly backup need it.',
  ],
  [
    { kind: 'down', name: 'NAS', trouble: { ...refused, detail: '' }, affected: ['Shop'] },
    'NAS is down: nothing listens on its port; Shop needs it.',
  ],
  [{ kind: 'down', name: 'NAS', trouble: null, affected: [] }, 'NAS is down.'],
  [
    {
      kind: 'down',
      name: 'Remote access',
      trouble: { ...refused, reason: 'silent' },
      affected: ['Till'],
      silentForMs: 95_000,
    },
    'Remote access is down, as far as anybody can tell: it answered before and has been silent for 2 min; Till needs it.',
  ],
  [
    { kind: 'down-behind', name: 'Shop', cause: 'NAS' },
    'Shop is down: it needs NAS, which is down.',
  ],
  [
    { kind: 'still-down', name: 'Shop', cause: 'NAS', trouble: refused, affected: ['Till'] },
    'Shop is still down now that NAS answers again: nothing listens on db.fernhill.home.arpa:5432; Till needs it.',
  ],
  [
    { kind: 'up', name: 'Order book', afterMs: 14 * 60_000 },
    'Order book is up again after 14 min.',
  ],
  [{ kind: 'up', name: 'Order book', afterMs: null }, 'Order book answers again.'],
  [{ kind: 'normal', name: 'Order book' }, 'Order book is back to normal.'],
  [
    { kind: 'degraded', name: 'Shop', trouble: slow, afterMs: null },
    'Shop is degraded: it answers more slowly than it should.',
  ],
  [
    { kind: 'degraded', name: 'Shop', trouble: slow, afterMs: 40_000 },
    'Shop is up again after 40 s, but degraded: it answers more slowly than it should.',
  ],
  [
    {
      kind: 'unobserved',
      name: 'Remote access',
      trouble: { layer: 'port', reason: 'silent', detail: '', hint: '' },
    },
    'Nobody can tell whether Remote access is up: nothing came back, which this protocol allows.',
  ],
  [
    {
      kind: 'unsteady',
      name: 'Order book',
      count: 3,
      withinMs: 12 * 60_000,
      areOutages: true,
      state: 'down',
      trouble: refused,
      silentForMs: null,
      affected: ['Shop'],
    },
    'Order book went down 3 times within 12 min and is unsteady. Now it is down: nothing listens on db.fernhill.home.arpa:5432; Shop needs it. Single changes are held back until it is steady again.',
  ],
  [
    {
      kind: 'unsteady',
      name: 'Remote access',
      count: 1,
      withinMs: 0,
      areOutages: true,
      state: 'down',
      trouble: { ...refused, reason: 'silent' },
      silentForMs: 95_000,
      affected: [],
    },
    'Remote access went down again and again and is unsteady. Now it is down, as far as anybody can tell: it answered before and has been silent for 2 min. Single changes are held back until it is steady again.',
  ],
  [
    {
      kind: 'unsteady',
      name: 'Shop',
      count: 4,
      withinMs: 20 * 60_000,
      areOutages: false,
      state: 'degraded',
      trouble: slow,
      silentForMs: null,
      affected: [],
    },
    'Shop changed for the worse 4 times within 20 min and is unsteady. Now it is degraded: it answers more slowly than it should. Single changes are held back until it is steady again.',
  ],
  [
    {
      kind: 'unsteady',
      name: 'Shop',
      count: 2,
      withinMs: 20 * 60_000,
      areOutages: false,
      state: 'unobserved',
      trouble: null,
      silentForMs: null,
      affected: [],
    },
    'Shop changed for the worse twice within 20 min and is unsteady. Now nobody can tell whether it is up. Single changes are held back until it is steady again.',
  ],
  [
    { ...calm, state: 'up', forMs: 38 * 60_000 },
    'Shop is steady again: it has been up for 38 min.',
  ],
  [{ ...calm, state: 'up', forMs: 0 }, 'Shop is steady again: it is up.'],
  [
    { ...calm, state: 'degraded', forMs: 60_000, trouble: slow },
    'Shop is steady again, but it has been degraded for 1 min: it answers more slowly than it should.',
  ],
  [
    { ...calm, state: 'down', forMs: 60_000, trouble: refused, affected: ['Till'] },
    'Shop is steady again, but it has been down for 1 min: nothing listens on db.fernhill.home.arpa:5432; Till needs it.',
  ],
  [
    { ...calm, state: 'down', forMs: 0, trouble: refused, cause: 'NAS' },
    'Shop is steady again, but it is down: it needs NAS, which is down.',
  ],
  [
    { ...calm, state: 'unobserved', forMs: 60_000 },
    'Shop is steady again, but nobody can tell whether it is up.',
  ],
  [
    { kind: 'reminder', name: 'Order book', forMs: 4 * 3_600_000, trouble: refused },
    'Order book has been down for 4 h: nothing listens on db.fernhill.home.arpa:5432.',
  ],
  [
    {
      kind: 'reminder',
      name: 'Nightly backup',
      forMs: 3_600_000,
      trouble: { layer: 'job', reason: 'overdue', detail: 'it did not begin by 02:35', hint: '' },
    },
    'Nightly backup has been failing for 1 h: it did not begin by 02:35.',
  ],
  [
    { kind: 'test', channel: 'phone' },
    'This is a test: what Rollcall has to tell reaches you through "phone".',
  ],
];

test.each(spoken)('%o', (situation, sentence) => {
  expect(say(situation)).toBe(sentence);
});

test('a list of names is bounded', () => {
  const affected = [...'ABCDEFGHIJKL'];
  expect(say({ kind: 'down', name: 'NAS', trouble: null, affected })).toBe(
    'NAS is down; A, B, C, D, E and 7 more need it.',
  );
});

test('every reason makes a whole sentence, with and without a detail', () => {
  for (const reason of reasons) {
    for (const detail of ['', 'as seen', 'as seen.', '  ']) {
      const trouble: Trouble = { layer: 'answer', reason, detail, hint: '' };
      const sentence = say({ kind: 'down', name: 'Shop', trouble, affected: [] });
      expect(sentence).toMatch(/^Shop is down: \S.*[^.\s]\.$/);
    }
  }
});
