/** How things are, in one sentence. */
import { expect, test } from 'vitest';
import type { Standing } from '../../src/base/standing.ts';
import { countsOf, sentenceOf, titleOf, troubled, worstOf } from '../../src/serve/sentence.ts';
import { neverAsked } from './scene.ts';

type Word = 'up' | 'degraded' | 'down' | 'unobserved' | 'new' | `down behind ${string}`;

/** `Order book: down`, one service each. */
function stands(roll: Readonly<Record<string, Word>>) {
  return Object.entries(roll).map(([name, word]) => ({
    id: name,
    name,
    standing: standing(word),
    planned: false,
  }));
}

function standing(word: Word): Standing {
  if (word === 'new') return neverAsked;
  const [state = 'up', causeId] = word.split(' behind ');
  return {
    ...neverAsked,
    state: state as Standing['state'],
    since: 1_000,
    causeId: causeId ?? null,
  };
}

const sentence = (roll: Readonly<Record<string, Word>>) => sentenceOf(stands(roll), () => '09:14');
const up = (count: number) =>
  Object.fromEntries(Array.from({ length: count }, (_, i) => [`S${i}`, 'up' as const]));

test.each<[Readonly<Record<string, Word>>, string]>([
  [{}, 'No service is on the roll.'],
  [{ Shop: 'new' }, 'Shop is being asked for the first time.'],
  [{ Shop: 'new', NAS: 'new' }, '2 services are being asked for the first time.'],
  [{ Shop: 'up' }, 'Shop answers.'],
  [up(12), 'All 12 services answer.'],
  [{ Shop: 'down' }, 'Shop has been down since 09:14.'],
  [{ 'Order book': 'down', ...up(11) }, 'Order book has been down since 09:14; 11 others answer.'],
  [{ Shop: 'down', NAS: 'up' }, 'Shop has been down since 09:14; 1 other answers.'],
  [{ Shop: 'down', NAS: 'down', ...up(2) }, 'Shop and NAS are down; 2 others answer.'],
  [{ A: 'down', B: 'down', C: 'down', D: 'down', E: 'down' }, 'A, B, C and 2 more are down.'],
  [
    { NAS: 'down', Shop: 'down behind NAS', ...up(4) },
    'NAS has been down since 09:14, and Shop with it; 4 others answer.',
  ],
  [{ A: 'down', B: 'down', C: 'down behind A' }, 'A and B are down, and C with them.'],
  [{ A: 'down behind B', B: 'down behind A' }, 'A and B are down.'],
  [
    { Shop: 'down', A: 'degraded', B: 'up', C: 'unobserved' },
    'Shop has been down since 09:14; 2 others answer, 1 of them with reservations; 1 is not observed.',
  ],
  [
    { Shop: 'down', A: 'degraded', B: 'unobserved', C: 'unobserved' },
    'Shop has been down since 09:14; 1 other answers with reservations; 2 are not observed.',
  ],
  [{ Shop: 'degraded' }, 'Shop answers with reservations.'],
  [{ Shop: 'degraded', NAS: 'up' }, 'All 2 services answer, Shop with reservations.'],
  [{ VPN: 'unobserved' }, 'VPN is not observed.'],
  [{ VPN: 'unobserved', NAS: 'unobserved' }, 'VPN and NAS are not observed.'],
  [{ VPN: 'unobserved', NAS: 'up' }, '1 service answers; VPN is not observed.'],
  [
    { VPN: 'unobserved', NAS: 'up', Shop: 'degraded' },
    '2 services answer, Shop with reservations; VPN is not observed.',
  ],
])('%j: %s', (roll, text) => {
  expect(sentence(roll)).toBe(text);
});

test('what is wrong comes worst first, its own fault before another one’s, and what is new is not wrong', () => {
  const roll = stands({
    VPN: 'unobserved',
    Shop: 'down behind NAS',
    Archive: 'degraded',
    NAS: 'down',
    Music: 'up',
    Notes: 'new',
  });
  expect(troubled(roll).map(({ name }) => name)).toEqual(['NAS', 'Shop', 'Archive', 'VPN']);
  expect(countsOf(roll)).toEqual({ up: 1, degraded: 1, down: 2, unobserved: 2, planned: 0 });
});

test.each<[Readonly<Record<string, Word>>, string, string | null]>([
  [{}, 'nothing to watch', null],
  [{ A: 'new' }, 'not asked yet', null],
  [up(1), 'up', 'up'],
  [up(3), 'all up', 'up'],
  [{ A: 'new', B: 'up' }, 'all up', 'up'],
  [{ A: 'unobserved', B: 'up' }, '1 not observed', 'unobserved'],
  [{ A: 'unobserved', B: 'degraded' }, '1 degraded', 'degraded'],
  [{ A: 'down', B: 'degraded', C: 'down' }, '2 down', 'down'],
])('%j has the title %s and the worst state %s', (roll, title, worst) => {
  expect(titleOf(stands(roll))).toBe(title);
  expect(worstOf(stands(roll))).toBe(worst);
});
