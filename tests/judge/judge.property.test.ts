/** What must hold of the judge whatever it sees: time never overlaps, nothing is up without an answer, nothing down without a failure. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import type { Outcome, State } from '../../src/base/values.ts';
import { blank, judge } from '../../src/judge/judge.ts';
import type { Change, Memory, SpanEdit, Verdict } from '../../src/judge/memory.ts';
import type { Policy, Sight } from '../../src/judge/policy.ts';
import { resumed } from '../../src/judge/resume.ts';
import { observation } from '../support/observations.ts';

const start = 1_700_000_000_000;

const policies: fc.Arbitrary<Policy> = fc.record({
  confirm: fc.integer({ min: 1, max: 4 }),
  restore: fc.integer({ min: 1, max: 3 }),
  unanswered: fc.constantFrom('down', 'unobserved'),
  everyMs: fc.constantFrom(1_000, 30_000),
  timeoutMs: fc.constantFrom(500, 5_000),
});

interface Seen {
  readonly outcome: Outcome;
  readonly gateways: Sight['gateways'];
  readonly afterMs: number;
}

const sights: fc.Arbitrary<Seen> = fc.record({
  outcome: fc.constantFrom<Outcome>('answered', 'limited', 'failed', 'unproven'),
  gateways: fc.constantFrom<Sight['gateways']>('clear', 'clear', 'clear', 'unsure', 'gone'),
  afterMs: fc.oneof(fc.integer({ min: 500, max: 30_000 }), fc.integer({ min: -9e5, max: 9e5 })),
});

function run(policy: Policy, all: readonly Seen[], restart = false): Verdict[] {
  let memory: Memory = blank('s');
  let stored: Memory = memory;
  let at = start;
  return all.map(({ outcome, gateways, afterMs }) => {
    at += afterMs;
    const seen = observation(at, outcome);
    const sight = { gateways, causeId: null };
    const verdict = judge({ serviceId: 'a', memory, observation: seen, policy, sight });
    memory = verdict.memory;
    if (!verdict.routine) stored = verdict.memory;
    // As after a restart: only what was stored, and the newest observation.
    else if (restart) memory = resumed(stored, seen, 's');
    return verdict;
  });
}

/** What the record makes of the edits. */
function spansOf(verdicts: readonly Verdict[]): SpanEdit[] {
  const spans: SpanEdit[] = [];
  for (const edit of verdicts.flatMap((verdict) => verdict.spans)) {
    while ((spans.at(-1)?.from ?? -1) >= edit.from) spans.pop();
    spans.push(edit);
  }
  return spans;
}

test('spans follow one another, never begin in the future, and their uncertainty lies before them', () => {
  fc.assert(
    fc.property(policies, fc.array(sights, { maxLength: 60 }), (policy, all) => {
      const verdicts = run(policy, all);
      for (const span of spansOf(verdicts))
        expect(span.earliestFrom).toBeLessThanOrEqual(span.from);
      for (const { memory, spans } of verdicts) {
        for (const span of spans) expect(span.from).toBeLessThanOrEqual(memory.lastAt ?? 0);
        expect(memory.since ?? 0).toBeLessThanOrEqual(memory.lastAt ?? 0);
      }
    }),
  );
});

test('the state in memory is that of the newest span', () => {
  fc.assert(
    fc.property(policies, fc.array(sights, { minLength: 1, maxLength: 60 }), (policy, all) => {
      const verdicts = run(policy, all);
      expect(spansOf(verdicts).at(-1)?.state).toBe(verdicts.at(-1)?.memory.state);
    }),
  );
});

test('a service is entered as up or degraded only by an answer, as down only by a failure', () => {
  fc.assert(
    fc.property(policies, fc.array(sights, { maxLength: 60 }), (policy, all) => {
      run(policy, all).forEach(({ change }, index) => {
        if (!change) return;
        const outcome = all[index]?.outcome;
        const allowed: { readonly [state in State]: readonly (Outcome | undefined)[] } = {
          up: ['answered', 'limited'],
          degraded: ['answered', 'limited', 'failed', 'unproven'],
          down: ['failed', 'unproven'],
          unobserved: ['failed', 'unproven'],
        };
        expect(allowed[change.to]).toContain(outcome);
      });
    }),
  );
});

test('outages open and close in turn, and every down state has one', () => {
  fc.assert(
    fc.property(policies, fc.array(sights, { maxLength: 60 }), (policy, all) => {
      let open: string | null = null;
      for (const { outage, memory } of run(policy, all)) {
        if (outage) {
          if (open !== null) expect(outage.id).toBe(open);
          open = outage.restoredAt === null ? outage.id : null;
        }
        expect(memory.outage?.id ?? null).toBe(open);
        if (memory.state === 'down') expect(open).not.toBeNull();
        if (memory.state === 'up' || memory.state === 'degraded') expect(open).toBeNull();
      }
    }),
  );
});

test('a restart between any two observations changes no state and no message, wherever the clock goes', () => {
  const told = (changes: readonly (Change | null)[]) =>
    changes.map((change) => change && [change.to, change.told, change.since]);
  fc.assert(
    fc.property(policies, fc.array(sights, { maxLength: 60 }), (policy, all) => {
      const through = run(policy, all);
      const restarted = run(policy, all, true);
      expect(told(restarted.map(({ change }) => change))).toEqual(
        told(through.map(({ change }) => change)),
      );
      expect(spansOf(restarted)).toEqual(spansOf(through));
    }),
  );
});
