/** How things are, in one sentence. */
import { expect, test } from 'vitest';
import type { Standing } from '../../src/base/standing.ts';
import { countsOf, sentenceOf, titleOf, troubled, worstOf } from '../../src/serve/sentence.ts';
import { neverAsked } from './scene.ts';

type Plain = 'up' | 'degraded' | 'down' | 'unobserved' | 'new' | `down behind ${string}`;
/** Jobs that are down say why. */
type Word = Plain | `job ${Plain | 'overdue' | 'hanging'}`;

/** `Order book: down`, one service each. */
function stands(roll: Readonly<Record<string, Word>>) {
  return Object.entries(roll).map(([name, word]) => ({
    id: name,
    name,
    isJob: word.startsWith('job '),
    standing: standing(word.replace(/^job /, '')),
    planned: false,
  }));
}

function standing(word: string): Standing {
  if (word === 'new') return neverAsked;
  if (word === 'overdue' || word === 'hanging') return downFor(word);
  const [state = 'up', causeId] = word.split(' behind ');
  return {
    ...neverAsked,
    state: state as Standing['state'],
    since: 1_000,
    causeId: causeId ?? null,
  };
}

function downFor(reason: 'overdue' | 'hanging'): Standing {
  const trouble = { layer: 'job', reason, detail: '', hint: '' } as const;
  const last = { at: 1, outcome: 'failed', tookUs: 0, phases: {}, facts: {}, trouble } as const;
  return { ...neverAsked, state: 'down', since: 1_000, last };
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
  [{ A: 'job new', B: 'job new' }, '2 jobs are being asked for the first time.'],
  [{ A: 'job new', Shop: 'new' }, '1 service and 1 job are being asked for the first time.'],
  [{ Backup: 'job up' }, 'Backup is in order.'],
  [{ Backup: 'job up', Import: 'job up' }, 'All 2 jobs are in order.'],
  [{ Backup: 'job up', ...up(12) }, 'All 12 services answer; Backup is in order.'],
  [{ Shop: 'up', A: 'job up', B: 'job up' }, 'Shop answers; all 2 jobs are in order.'],
  [{ 'all wares': 'up', A: 'job up' }, 'all wares answers; A is in order.'],
  [
    { A: 'job degraded', B: 'job up', C: 'job unobserved', Shop: 'degraded', NAS: 'up' },
    'All 2 services answer, Shop with reservations; 2 jobs work, A not as usual; C is not observed.',
  ],
  [{ A: 'job degraded', Shop: 'unobserved' }, 'A works, but not as usual; Shop is not observed.'],
  [
    { Backup: 'job down', ...up(11), Import: 'job up' },
    'Backup has been failing since 09:14; 11 services answer; 1 other job is in order.',
  ],
  [{ A: 'job overdue', B: 'job up' }, 'A has been overdue since 09:14; 1 other job is in order.'],
  [{ A: 'job hanging', Shop: 'up' }, 'A has been hanging since 09:14; 1 service answers.'],
  [{ A: 'job hanging', B: 'job hanging' }, 'A and B are hanging.'],
  [{ A: 'job hanging', B: 'job down' }, 'A and B are failing.'],
  [
    { NAS: 'down', A: 'job down behind NAS', B: 'job degraded', C: 'job up', Shop: 'up' },
    'NAS has been down since 09:14, and A with it; 1 other service answers; 2 other jobs work, 1 of them not as usual.',
  ],
  [
    { NAS: 'down', A: 'job overdue', Shop: 'down behind A', C: 'job down behind Shop' },
    'NAS has been down since 09:14, and C with it; A has been overdue since 09:14, and Shop with it.',
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
