/**
 * The judge's table as sentences: what was seen, one letter an answer ten seconds apart, and the state after each.
 *   seen:   g answered · p limited · f failed · s silent (unproven) · x failed while the gateway is gone
 *           ? failed while the gateway is in doubt · _ nobody looked for a minute
 *   state:  u up · d degraded · D down · - unobserved; an upper-case N after it: this change is told
 */
import { describe, expect, test } from 'vitest';
import type { Outcome } from '../../src/base/values.ts';
import { blank, judge } from '../../src/judge/judge.ts';
import type { Memory, Verdict } from '../../src/judge/memory.ts';
import type { Policy, Sight } from '../../src/judge/policy.ts';
import { observation } from '../support/observations.ts';

const stepMs = 10_000;
const start = 1_700_000_000_000;

const seen: { readonly [letter: string]: [Outcome, Sight['gateways']] } = {
  g: ['answered', 'clear'],
  p: ['limited', 'clear'],
  f: ['failed', 'clear'],
  s: ['unproven', 'clear'],
  x: ['failed', 'gone'],
  '?': ['failed', 'unsure'],
};

const letterOf = { up: 'u', degraded: 'd', down: 'D', unobserved: '-' } as const;

function run(letters: string, policy: Policy): { states: string; verdicts: Verdict[] } {
  let memory: Memory = blank('settings');
  let at = start;
  let states = '';
  const verdicts: Verdict[] = [];
  for (const letter of letters) {
    if (letter === '_') {
      at += 60_000;
      continue;
    }
    const [outcome, gateways] = seen[letter] ?? ['answered', 'clear'];
    const verdict = judge({
      serviceId: 'shop',
      memory,
      observation: observation(at, outcome),
      policy,
      sight: { gateways, causeId: null },
    });
    memory = verdict.memory;
    states += `${letterOf[memory.state]}${verdict.change?.told ? 'N' : ''}`;
    verdicts.push(verdict);
    at += stepMs;
  }
  return { states, verdicts };
}

const policy: Policy = {
  confirm: 2,
  restore: 1,
  unanswered: 'down',
  everyMs: stepMs,
  timeoutMs: 5_000,
};

// biome-ignore format: one case a line
const cases: readonly [seen: string, states: string, why: string][] = [
  ['g', 'u', 'first seen up: silent'],
  ['f', '-', 'first seen failing: suspect, nothing proved'],
  ['ff', '-DN', 'found down: told'],
  ['p', 'u', 'one limited answer proves that it serves'],
  ['pp', 'udN', 'found degraded, confirmed: told'],
  ['s', '-', 'silence from the start proves nothing'],
  ['sss', '---', 'and never does by itself'],
  ['gf', 'uu', 'one failure is not confirmed'],
  ['gfg', 'uuu', 'and makes no message'],
  ['gff', 'uuDN', 'two make an outage'],
  ['gffg', 'uuDNuN', 'one good answer ends it'],
  ['gfpf', 'uudNd', 'a limited answer between failures: no outage, but not fully served'],
  ['gfpff', 'uudNdDN', 'then two failures in a row'],
  ['gpf', 'uudN', 'limited and failed: not fully served twice'],
  ['gpp', 'uudN', 'limited twice'],
  ['gpg', 'uuu', 'limited once'],
  ['gppg', 'uudNuN', 'one good answer ends it'],
  ['gppf', 'uudNd', 'degraded and failing: suspect'],
  ['gppff', 'uudNdDN', 'degraded, then down'],
  ['gffp', 'uuDNdN', 'an outage that ends with reservations'],
  ['gffpg', 'uuDNdNuN', 'and then without'],
  ['gfff', 'uuDND', 'down stays down, told once'],
  ['gs', 'uu', 'silence after an answer: suspect'],
  ['gss', 'uuDN', 'lasting silence after an answer is told as down (policy down)'],
  ['gsg', 'uuu', 'a single silence is nothing'],
  ['gsf', 'uuDN', 'silence that counts, and a failure'],
  ['gffs', 'uuDND', 'silence keeps an outage open'],
  ['gx', 'u-', 'a failure behind a gateway that is gone proves nothing, at once and silently'],
  ['gxg', 'u-u', 'and coming back from it is silent'],
  ['gxxff', 'u---DN', 'what fails still when the gateway is back is told'],
  ['fxff', '---DN', 'and what failed before it was found gone counts no more'],
  ['gffx', 'uuDN-', 'an outage behind a gateway that goes: nobody knows'],
  ['gffxf', 'uuDN-D', 'it goes on, silently, when the gateway is back'],
  ['gffxg', 'uuDN-uN', 'its end is told'],
  ['g???', 'uuuu', 'while the gateway is in doubt nothing is decided'],
  ['g??f', 'uuuDN', 'and then it is'],
  ['g??x', 'uuu-', 'or it was the gateway'],
  ['gff_?f', 'uuDN-D', 'an outage goes on only where the gateway is known to be there'],
  ['g_g', 'uu', 'a gap, the same after it: silent'],
  ['g_f', 'u-', 'a gap, then a failure: nobody knows yet'],
  ['g_ff', 'u-DN', 'confirmed: told, since it differs from before'],
  ['gff_f', 'uuDND', 'down before and after a gap: silent'],
  ['gff_g', 'uuDNuN', 'down before, up after: told'],
  ['gpp_p', 'uudNd', 'degraded before and after: silent'],
  ['gpp_g', 'uudNuN', 'degraded before, up after: told'],
  ['g_pp', 'uudN', 'up before, degraded after: told when confirmed'],
  ['gf_f', 'uu-', 'failures before and after a gap are not in a row'],
  ['g_x', 'u-', 'a gap, then a gateway that is gone'],
  ['ffg', '-DNuN', 'never seen, down, then up'],
];

describe('two to confirm, one to restore', () => {
  test.each(cases)('%s → %s: %s', (letters, states) => {
    expect(run(letters, policy).states).toBe(states);
  });
});

// biome-ignore format: one case a line
const patient: readonly [seen: string, states: string, why: string][] = [
  ['gff', 'uuu', 'three are needed'],
  ['gfff', 'uuuDN', 'and make it'],
  ['gfffg', 'uuuDND', 'one good answer is not enough'],
  ['gfffgg', 'uuuDNDuN', 'two are'],
  ['gfffgfg', 'uuuDNDDD', 'they must be in a row'],
  ['gfffpg', 'uuuDNDdN', 'served twice in a row, once with reservations: the outage is over, all is not well'],
  ['gfffpgg', 'uuuDNDdNuN', 'then it is'],
  ['gfffgsg', 'uuuDNDDD', 'silence that counts as failure breaks the row'],
  ['gpppg', 'uuudNd', 'degraded waits for two as well'],
  ['gpppgg', 'uuudNduN', 'and gets them'],
  ['gppf', 'uuudN', 'three not fully served'],
  ['gfff_g', 'uuuDN-', 'after a gap one good answer does not end the outage'],
  ['gfff_gg', 'uuuDN-uN', 'two do'],
];

describe('three to confirm, two to restore', () => {
  test.each(patient)('%s → %s: %s', (letters, states) => {
    expect(run(letters, { ...policy, confirm: 3, restore: 2 }).states).toBe(states);
  });
});

// biome-ignore format: one case a line
const open: readonly [seen: string, states: string, why: string][] = [
  ['gs', 'uu', 'one silence is nothing yet'],
  ['gss', 'uu-N', 'lasting silence: nobody knows, and that is told'],
  ['gssg', 'uu-NuN', 'its end too'],
  ['gsgs', 'uuuu', 'not in a row'],
  ['gffss', 'uuDND-N', 'silence is no proof that an outage lasts'],
  ['gffssf', 'uuDND-NDN', 'down again is news after that'],
  ['gffssg', 'uuDND-NuN', 'up as well'],
  ['gfsf', 'uuuDN', 'silence between two failures proves nothing either way'],
  ['ss', '--', 'never answered'],
];

describe('silence that stays open (unanswered: unobserved)', () => {
  test.each(open)('%s → %s: %s', (letters, states) => {
    expect(run(letters, { ...policy, unanswered: 'unobserved' }).states).toBe(states);
  });
});

describe('what counts as a gap', () => {
  const first = judge({
    serviceId: 'shop',
    memory: blank('s'),
    observation: observation(start, 'answered'),
    policy,
    sight: { gateways: 'clear', causeId: null },
  });
  const gapAt = (ms: number, changed: Partial<Policy> = {}) =>
    judge({
      serviceId: 'shop',
      memory: first.memory,
      observation: observation(start + ms, 'answered'),
      policy: { ...policy, ...changed },
      sight: { gateways: 'clear', causeId: null },
    }).spans.some(({ state }) => state === 'unobserved');

  test('an answer may be late by the grace and by an exchange that took its whole time', () => {
    expect(gapAt(stepMs + 5_000 + policy.timeoutMs)).toBe(false);
    expect(gapAt(stepMs + 5_001 + policy.timeoutMs)).toBe(true);
  });
  test('a shortened interval does not make a gap of time in which nothing was due', () => {
    expect(gapAt(stepMs, { everyMs: 1_000 })).toBe(false);
  });
  test('nor does a lengthened one hide what was missed', () => {
    expect(gapAt(60_000, { everyMs: 3_600_000 })).toBe(true);
  });
});

describe('instants', () => {
  test('an outage begins at its first failure and is bounded by the answers around it', () => {
    const { verdicts } = run('gffffg', policy);
    expect(verdicts.at(-1)?.outage).toMatchObject({
      lastGoodAt: start,
      firstFailedAt: start + stepMs,
      confirmedAt: start + 2 * stepMs,
      lastFailedAt: start + 4 * stepMs,
      restoredAt: start + 5 * stepMs,
    });
    expect(verdicts[2]?.spans).toEqual([
      { state: 'down', from: start + stepMs, earliestFrom: start },
    ]);
    expect(verdicts[5]?.spans).toEqual([
      { state: 'up', from: start + 5 * stepMs, earliestFrom: start + 4 * stepMs },
    ]);
  });

  test('degraded begins no sooner than it was seen to serve, though a failure began the row', () => {
    const { states, verdicts } = run('fpp', { ...policy, confirm: 3 });
    expect(states).toBe('-udN');
    expect(verdicts[2]?.spans).toMatchObject([{ state: 'degraded', from: start + stepMs }]);
  });

  test('a gap begins at the first due time that was missed, and its edges are certain', () => {
    const { verdicts } = run('g_g', policy);
    expect(verdicts[1]?.spans).toEqual([
      { state: 'unobserved', from: start + stepMs, earliestFrom: start + stepMs },
      { state: 'up', from: start + 7 * stepMs, earliestFrom: start + 7 * stepMs },
    ]);
  });

  test('failures that were not confirmed are handed on with the answers around them', () => {
    const { verdicts } = run('gfg', policy);
    expect(verdicts[2]?.unconfirmed).toEqual({
      serviceId: 'shop',
      lastGoodAt: start,
      firstFailedAt: start + stepMs,
      lastFailedAt: start + stepMs,
      nextGoodAt: start + 2 * stepMs,
    });
  });

  test('why nobody knows is told from the newest answer: the gateway, where that is gone', () => {
    const reasons = run('fx_x', policy).verdicts.map(({ memory }) => memory.unobservedBy);
    expect(reasons).toEqual([null, 'gateway', 'gateway']);
  });

  test('an outage keeps its id over unobserved time', () => {
    const { verdicts } = run('gff_fg', policy);
    const ids = verdicts.flatMap(({ outage }) => (outage ? [outage.id] : []));
    expect(ids.length).toBeGreaterThan(1);
    expect(new Set(ids).size).toBe(1);
  });

  test('a wall clock that steps back does not make time run twice; until it has caught up, instants creep', () => {
    let memory = blank('s');
    const seenAt = (at: number, outcome: Outcome, latestAt = 0) => {
      const verdict = judge({
        serviceId: 'shop',
        memory,
        observation: observation(at, outcome),
        latestAt,
        policy: { ...policy, confirm: 1 },
        sight: { gateways: 'clear', causeId: null },
      });
      memory = verdict.memory;
      return verdict;
    };
    seenAt(start, 'answered');
    const hourAgo = start - 3_600_000;
    expect(seenAt(hourAgo, 'failed').spans).toEqual([
      { state: 'down', from: start + 1, earliestFrom: start },
    ]);
    expect(seenAt(hourAgo + 10, 'answered').outage?.restoredAt).toBe(start + 2);
    // Another outage, with an id of its own, and after what was judged of others.
    expect(seenAt(hourAgo + 20, 'failed', start + 50).outage?.firstFailedAt).toBe(start + 50);
  });
});
