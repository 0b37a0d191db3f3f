/** Which changes make a service unsteady, and when it is told to be steady again: the judge, one answer after the other. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { Outcome } from '../../src/base/values.ts';
import { blank, judge } from '../../src/judge/judge.ts';
import type { Change, Memory, Verdict } from '../../src/judge/memory.ts';
import type { Policy, Sight } from '../../src/judge/policy.ts';
import { resumed } from '../../src/judge/resume.ts';
import { behindCause } from '../../src/judge/steadiness.ts';
import { decayed, halfLifeMs, reuse } from '../../src/judge/unsteady.ts';
import { observation } from '../support/observations.ts';

const start = 1_700_000_000_000;
const minute = 60_000;

const policy: Policy = {
  confirm: 1,
  restore: 1,
  unanswered: 'unobserved',
  everyMs: minute,
  timeoutMs: 5_000,
};

const seen: { readonly [letter: string]: [Outcome, Sight] } = {
  g: ['answered', { gateways: 'clear', causeId: null }],
  p: ['limited', { gateways: 'clear', causeId: null }],
  f: ['failed', { gateways: 'clear', causeId: null }],
  s: ['unproven', { gateways: 'clear', causeId: null }],
  b: ['failed', { gateways: 'clear', causeId: 'nas' }],
  x: ['failed', { gateways: 'gone', causeId: null }],
};

interface Seen {
  /** A capital: in planned time. */
  readonly letter: string;
  readonly afterMs: number;
}

/** `isRestarted`: after each answer nothing is left but what was stored, and the newest observation. */
function run(all: readonly Seen[], more: Partial<Policy> = {}, isRestarted = false): Verdict[] {
  let memory: Memory = blank('s');
  let stored: Memory | null = null;
  let at = start;
  return all.map(({ letter, afterMs }) => {
    at += afterMs;
    const [outcome, sight] = seen[letter.toLowerCase()] ?? [
      'answered',
      { gateways: 'clear', causeId: null },
    ];
    const last = observation(at, outcome);
    const verdict = judge({
      serviceId: 'shop',
      memory,
      observation: last,
      policy: { ...policy, ...more },
      sight: { ...sight, isPlanned: letter !== letter.toLowerCase() },
    });
    memory = verdict.memory;
    if (!verdict.routine) stored = verdict.memory;
    else if (isRestarted) memory = resumed(stored, last, 's');
    return verdict;
  });
}

/** One answer a minute. */
function minutely(letters: string, more: Partial<Policy> = {}): Verdict[] {
  return run(
    [...letters].map((letter) => ({ letter, afterMs: minute })),
    more,
  );
}

/** `u` where it is unsteady after the answer. */
function pictured(verdicts: readonly Verdict[]): string {
  return verdicts
    .map(({ memory }) => (memory.steadiness.unsteadySince === null ? '.' : 'u'))
    .join('');
}

// biome-ignore format: one case a line
const cases: readonly [letters: string, unsteady: string, why: string][] = [
  ['gfgg', '....', 'one outage'],
  ['gfgf', '...u', 'two within minutes'],
  ['gfff', '....', 'one outage that lasts'],
  ['gfgpg', '.....', 'an outage and a reservation: 1.5 at most'],
  ['gfgpgp', '.....u', 'and another reservation'],
  ['gpgpgpg', '.......', 'three reservations'],
  ['gpgpgpgp', '.......u', 'four'],
  ['gfpfpf', '...uuu', 'better than down is no setback, down again is one'],
  ['gsgsgsgs', '.......u', 'out of sight by silence counts like a reservation'],
  ['gfsfsfsfs', '....uuuuu', 'down, then nobody knows: not the outage that goes on, but that nobody knows'],
  ['gbgbgbgb', '........', 'behind a cause it is not to blame'],
  ['gxgxgxgx', '........', 'nor where nobody can see it'],
  ['gFgFgFgF', '........', 'nor where it was planned'],
  ['gPgPgSgS', '........', 'in whatever way'],
  ['gFgfgF', '......', 'one outage beside planned ones is one'],
  ['gFgfgf', '.....u', 'two are two'],
  ['gFfgf', '.....', 'one that outlives planned time began within it'],
];

test.each(cases)('%s → %s: %s', (letters, unsteady) => {
  expect(pictured(minutely(letters))).toBe(unsteady);
});

describe('what is said with a change', () => {
  test('that it begins, that it lasts, and how often it was of late', () => {
    const said = minutely('gfgfgf').flatMap(({ change }) => (change ? [change.unsteadiness] : []));
    const since = start + 4 * minute;
    expect(said).toEqual([
      null,
      null,
      null,
      { phase: 'begins', since, setbacks: [expect.anything(), { at: since, to: 'down' }] },
      { phase: 'lasts', since, setbacks: [expect.anything(), expect.anything()] },
      { phase: 'lasts', since, setbacks: expect.objectContaining({ length: 3 }) },
    ]);
  });
});

describe('steady again', () => {
  const flapping = 'gfgf';
  const told = (verdicts: readonly Verdict[]) =>
    verdicts.flatMap(({ steadied }, nth) => (steadied ? [[nth, steadied] as const] : []));

  test.each([
    ['up', 'g'],
    ['degraded', 'p'],
    ['down', 'f'],
    ['unobserved', 's'],
  ])('is told once, with how it stands by then: %s', (state, letter) => {
    const verdicts = minutely(`${flapping}${letter.repeat(40)}`);
    const [first, ...others] = told(verdicts);
    expect(others).toEqual([]);
    const [nth, steadied] = first ?? [];
    const verdict = verdicts[nth ?? 0];
    expect(steadied).toMatchObject({ from: state, to: state, told: true });
    expect(steadied?.since).toBe(verdict?.memory.since);
    expect(steadied?.unsteadiness?.phase).toBe('ended');
    expect(steadied?.outage?.restoredAt ?? null).toBeNull();
    expect(steadied?.outage === null).toBe(state === 'up' || state === 'degraded');
    expect(verdict).toMatchObject({ change: null, routine: false });
    // 1.88 after the second outage, and 0.5 more for what leaves it serving: so many minutes to 0.75.
    const penalty = verdicts[nth === undefined ? 0 : nth - 1]?.memory.steadiness.penalty ?? 0;
    const lastAt = verdicts[nth === undefined ? 0 : nth - 1]?.memory.steadiness.at ?? 0;
    const minutes = Math.ceil((halfLifeMs * Math.log2(penalty / reuse)) / minute);
    expect(steadied?.decidedAt).toBe(lastAt + minutes * minute);
  });

  test('waits for the end of planned time, but not where it is up', () => {
    const meant = minutely(`${flapping}${'F'.repeat(60)}f`);
    expect(told(meant)).toMatchObject([[meant.length - 1, { to: 'down' }]]);
    const [[nth] = []] = told(minutely(`${flapping}${'G'.repeat(60)}g`));
    expect(nth).toBeLessThan(60);
  });

  test('waits for proof: behind a gateway that is gone nothing is said, then it is', () => {
    const verdicts = minutely(`${flapping}${'x'.repeat(60)}g`);
    expect(told(verdicts)).toEqual([]);
    expect(verdicts.at(-1)?.change).toMatchObject({ to: 'up', unsteadiness: { phase: 'ended' } });
  });

  test('a service that is asked rarely is steady at its next answer, and its change says so', () => {
    const hourly = { everyMs: 60 * minute };
    const rarely = (letter: string) =>
      run(
        [
          ...[...flapping].map((one) => ({ letter: one, afterMs: minute })),
          { letter, afterMs: 60 * minute },
        ],
        hourly,
      ).at(-1);
    expect(rarely('g')?.change).toMatchObject({ to: 'up', unsteadiness: { phase: 'ended' } });
    expect(rarely('f')).toMatchObject({ change: null, steadied: { to: 'down' } });
    expect(rarely('g')?.steadied).toBeNull();
  });

  test('a setback by which it is not unsteady any more is told with that', () => {
    const late = run(
      [
        ...[...`${flapping}g`].map((letter) => ({ letter, afterMs: minute })),
        { letter: 'f', afterMs: 60 * minute },
      ],
      { everyMs: 60 * minute },
    ).at(-1);
    expect(late?.change).toMatchObject({ to: 'down', unsteadiness: { phase: 'ended' } });
  });
});

describe('an outage that turns out to stand behind a cause', () => {
  const nas = { causeId: 'nas' };
  const last = observation(start + 5 * minute, 'failed');
  const put = (letters: string) => {
    const { memory } = minutely(letters).at(-1) ?? {};
    if (!memory?.outage) throw new Error('is not down');
    const at = (memory.lastAt ?? 0) + 1_000;
    return behindCause(memory, { ...memory.outage, ...nas }, { last, at });
  };

  test('does not make it unsteady, and is said to whoever heard that it did', () => {
    const { memory, steadied } = put('gfgf');
    expect(memory.steadiness.unsteadySince).toBeNull();
    expect(memory.outage?.causeId).toBe('nas');
    expect(steadied).toMatchObject({
      from: 'down',
      to: 'down',
      outage: nas,
      unsteadiness: { phase: 'ended' },
    });
  });

  test('does not make it steady where it was unsteady before', () => {
    const { memory, steadied } = put('gfgfgf');
    expect(memory.steadiness.unsteadySince).not.toBeNull();
    expect(steadied).toBeNull();
  });

  test('costs nothing, however often the cause fails', () => {
    let memory = minutely('g').at(-1)?.memory ?? blank('s');
    for (let nth = 1; nth < 100; nth++) {
      const at = start + (nth + 1) * minute;
      const letter = nth % 2 === 0 ? 'g' : 'f';
      const [outcome, sight] = seen[letter] ?? ['answered', { gateways: 'clear', causeId: null }];
      const answer = observation(at, outcome);
      const verdict = judge({ serviceId: 'shop', memory, observation: answer, policy, sight });
      const { outage } = verdict.memory;
      memory = outage
        ? behindCause(verdict.memory, { ...outage, ...nas }, { last, at }).memory
        : verdict.memory;
      expect(memory.steadiness.unsteadySince).toBeNull();
      expect(memory.steadiness.penalty).toBeCloseTo(0, 9);
    }
  });
});

describe('whatever is seen', () => {
  const letters = fc.constantFrom('g', 'g', 'p', 'f', 'f', 's', 'b', 'x');
  const courses = fc.array(
    fc.record({
      letter: letters,
      afterMs: fc.oneof(
        fc.integer({ min: 500, max: 2 * minute }),
        fc.integer({ min: -20 * minute, max: 90 * minute }),
      ),
    }),
    { maxLength: 80 },
  );
  const policies = fc.record({
    confirm: fc.integer({ min: 1, max: 2 }),
    restore: fc.integer({ min: 1, max: 2 }),
    unanswered: fc.constantFrom('down' as const, 'unobserved' as const),
  });
  const newsOf = (verdicts: readonly Verdict[]) =>
    verdicts.flatMap(({ change, steadied }) => change ?? steadied ?? []);

  test('it begins and ends in turn, with news each time, and begins only with a setback that is told', () => {
    fc.assert(
      fc.property(policies, courses, (more, course) => {
        let isUnsteady = false;
        for (const { change, steadied, memory } of run(course, more)) {
          const news: Change | null = change ?? steadied;
          const phase = news?.unsteadiness?.phase;
          if (phase === 'begins') {
            expect(isUnsteady).toBe(false);
            expect(news).toMatchObject({ told: true, to: expect.not.stringMatching(/^up$/) });
            expect(news?.outage?.causeId ?? null).toBeNull();
            isUnsteady = true;
          } else if (phase === 'ended') {
            expect(isUnsteady).toBe(true);
            isUnsteady = false;
          } else if (news) expect(phase === 'lasts').toBe(isUnsteady);
          expect(memory.steadiness.unsteadySince !== null).toBe(isUnsteady);
        }
      }),
    );
  });

  test('it never lasts once the penalty is gone and something is known', () => {
    fc.assert(
      fc.property(policies, courses, (more, course) => {
        for (const { memory } of run(course, more)) {
          const { steadiness, state, lastAt, unobservedBy } = memory;
          if (steadiness.unsteadySince === null) continue;
          if (state === 'unobserved' && unobservedBy !== 'silence') continue;
          expect(decayed(steadiness, lastAt ?? 0)).toBeGreaterThanOrEqual(reuse);
        }
      }),
    );
  });

  test('a restart between any two answers changes nothing of it', () => {
    fc.assert(
      fc.property(policies, courses, (more, course) => {
        const said = (verdicts: readonly Verdict[]) =>
          newsOf(verdicts).map(({ to, decidedAt, unsteadiness }) => [to, decidedAt, unsteadiness]);
        expect(said(run(course, more, true))).toEqual(said(run(course, more)));
      }),
    );
  });
});

test('where each change is to be told, none makes it unsteady, and one that is becomes steady at once', () => {
  const letters = 'gfgfgfgfg';
  expect(pictured(minutely(letters))).toContain('u');
  const loud = minutely(letters, { unsteady: 'tell' });
  expect(pictured(loud)).not.toContain('u');
  expect(loud.flatMap(({ change }) => change?.unsteadiness ?? [])).toEqual([]);

  const before = minutely('gfgfg').at(-1)?.memory ?? blank('s');
  expect(before.steadiness.unsteadySince).not.toBeNull();
  const [outcome, sight] = ['answered', { gateways: 'clear', causeId: null }] as const;
  const verdict = judge({
    serviceId: 'shop',
    memory: before,
    observation: observation(start + 6 * minute, outcome),
    policy: { ...policy, unsteady: 'tell' },
    sight,
  });
  expect(verdict.memory.steadiness.unsteadySince).toBeNull();
  expect(verdict.steadied?.unsteadiness?.phase).toBe('ended');
  expect(verdict.routine).toBe(false);
});
