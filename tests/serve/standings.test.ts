/** How services stand is worked out once until something may have changed, and is the same thing while it says the same. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { CountedMap } from '../../src/base/counted-map.ts';
import type { Standing } from '../../src/base/standing.ts';
import { keptStandings } from '../../src/serve/standings.ts';
import { neverAsked, now } from './scene.ts';

function house() {
  const standings = new CountedMap<string, Standing>();
  let count = 0;
  const standingOf = keptStandings({
    revision: () => standings.revision,
    standingOf: (id) => {
      count++;
      const standing = standings.get(id);
      if (!standing) throw new Error(`no service ${id}`);
      return { ...standing };
    },
  });
  return { standings, standingOf, count: () => count };
}

test('worked out once until something may have changed', () => {
  const { standings, standingOf, count } = house();
  standings.set('a', neverAsked);
  expect(standingOf('a')).toBe(standingOf('a'));
  expect(count()).toBe(1);
});

test('the same thing where another service changed, and another thing where this one did', () => {
  const { standings, standingOf } = house();
  standings.set('a', neverAsked);
  standings.set('b', neverAsked);
  const before = standingOf('a');
  standings.set('b', { ...neverAsked, state: 'up' });
  expect(standingOf('a')).toBe(before);
  standings.set('a', { ...neverAsked, state: 'up' });
  expect(standingOf('a')).toMatchObject({ state: 'up' });
});

test('who is not known is not known later either', () => {
  const { standings, standingOf } = house();
  expect(() => standingOf('a')).toThrow('no service a');
  standings.set('a', neverAsked);
  expect(standingOf('a')).toEqual(neverAsked);
});

const someStanding: fc.Arbitrary<Standing> = fc.record({
  state: fc.constantFrom('up', 'down'),
  since: fc.constantFrom(null, now),
  suspect: fc.boolean(),
  unsteady: fc.boolean(),
  causeId: fc.constantFrom(null, 'b'),
  hiddenBy: fc.constantFrom(null, 'c'),
  outage: fc.constant(null),
  last: fc.constantFrom(
    null,
    ...([1, 2] as const).map((at) => ({
      ...({ at, outcome: 'answered', tookUs: 1, phases: {}, trouble: null, facts: {} } as const),
    })),
  ),
  pacedMs: fc.constantFrom(1, 2),
});

test('never another than it is', () => {
  fc.assert(
    fc.property(fc.array(fc.tuple(fc.constantFrom('a', 'b'), someStanding)), (changes) => {
      const { standings, standingOf } = house();
      for (const [id, standing] of changes) {
        standings.set(id, standing);
        for (const [known, expected] of standings) expect(standingOf(known)).toEqual(expected);
      }
    }),
  );
});
