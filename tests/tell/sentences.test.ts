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
