/**
 * What the record holds of rough worlds (packets lost, daemons restarted or cut off, machines asleep, clocks set, loops
 * stalled, disks full): every instant is in one state, and in one that was seen, or in none at all.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { availabilityOf } from '../../src/uptime/availability.ts';
import { courseExpected, served, timeExpected, unwatched } from './expected.ts';
import type { Happening } from './household.ts';
import { lived } from './lived.ts';
import { inWorlds } from './proof.ts';
import { quietWorlds, roughWorlds, shares, steady } from './worlds.ts';

const windows = fc.array(fc.tuple(shares, shares), { minLength: 1, maxLength: 5 });
const planned = fc.array(fc.tuple(shares, shares), { maxLength: 4 });

describe('whatever happens', () => {
  test('spans follow each other without a gap and without an overlap, from the first answer on', async () => {
    await inWorlds(roughWorlds, 60, async (world) => {
      const { entriesOf, looksOf } = await lived(world);
      for (const { id } of world.services) {
        const { spans } = entriesOf(id);
        expect(spans[0]?.from).toBe(looksOf(id)[0]?.observation.at);
        for (const [nth, { from, to, earliestFrom, state }] of spans.entries()) {
          const next = spans[nth + 1];
          expect(to).toBe(next?.from ?? null);
          expect(to ?? Number.POSITIVE_INFINITY).toBeGreaterThan(from);
          expect(earliestFrom).toBeLessThanOrEqual(from);
          expect(next?.state).not.toBe(state);
        }
      }
    });
  });

  test('the states of a window add up to it, with what was planned', async () => {
    await inWorlds(fc.tuple(roughWorlds, windows, planned), 40, async ([world, asked, plans]) => {
      const { entriesOf, looksOf, endedAt } = await lived(world);
      for (const { id } of world.services) {
        const entries = entriesOf(id);
        const first = (looksOf(id)[0]?.observation.at ?? endedAt) - 60_000;
        const within = ([one, other]: readonly [number, number]) => ({
          from: Math.round(first + Math.min(one, other) * (endedAt - first)),
          to: Math.round(first + Math.max(one, other) * (endedAt - first)),
        });
        for (const window of asked.map(within)) {
          const seen = availabilityOf({
            ...entries,
            planned: plans.map(within),
            window,
            now: endedAt,
          });
          const sum =
            seen.upMs + seen.degradedMs + seen.downMs + seen.unobservedMs + seen.plannedMs;
          expect(sum).toBe(seen.to - seen.from);
          expect(seen.to).toBe(Math.max(window.from, Math.min(window.to, endedAt)));
          expect(seen.ownDownMs + seen.externallyDisabledMs).toBe(seen.downMs);
          if (seen.estimate !== null) {
            const servedMs = seen.upMs + seen.degradedMs;
            expect(seen.estimate).toBeCloseTo(servedMs / (servedMs + seen.downMs), 12);
            expect(seen.low).toBeLessThanOrEqual(seen.estimate);
            expect(seen.high).toBeGreaterThanOrEqual(seen.estimate);
          }
        }
      }
    });
  });

  test('nothing is up or down where nobody looked, and all else is as the answers say', async () => {
    await inWorlds(roughWorlds, 60, async (world) => {
      const { entriesOf, looksOf, endedAt } = await lived(world);
      for (const service of world.services) {
        const { spans, ...entries } = entriesOf(service.id);
        const looks = looksOf(service.id);
        const { stretches: expected, outages } = courseExpected(looks, service);
        expect(served(spans)).toEqual(expected.map(({ state, from }) => ({ state, from })));
        expect(
          entries.outages.map(({ firstFailedAt, restoredAt }) => ({ firstFailedAt, restoredAt })),
        ).toEqual(outages);
        for (const { from, to } of unwatched(looks, service)) {
          for (const span of spans.filter(({ state }) => state !== 'unobserved')) {
            expect(span.from >= to || (span.to ?? endedAt) <= from).toBe(true);
          }
        }
        const window = { from: looks[0]?.observation.at ?? 0, to: endedAt };
        const seen = availabilityOf({ spans, ...entries, planned: [], window, now: endedAt });
        expect({
          serving: seen.upMs + seen.degradedMs,
          down: seen.downMs,
          unobserved: seen.unobservedMs,
        }).toEqual(timeExpected(expected, seen));
      }
    });
  });

  test('no state begins without an answer that shows it, though silence decides nothing', async () => {
    await inWorlds(quietWorlds, 60, async (world) => {
      const { entriesOf, looksOf } = await lived(world);
      for (const service of world.services) {
        const { spans, outages } = entriesOf(service.id);
        const looks = looksOf(service.id);
        const at = new Map(looks.map((look) => [look.at, look.observation.outcome]));
        const firstServed = looks.find(({ observation }) => observation.outcome !== 'unproven');
        // A failure may begin the row that makes it degraded; but it was up then.
        for (const { state, from } of served(spans)) {
          if (state === 'down') expect(at.get(from)).toMatch(/failed|unproven/);
          else if (state !== 'unobserved') expect(at.get(from)).toMatch(/answered|limited/);
          // Silence is an inference only where there was an answer before.
          if (state !== 'unobserved')
            expect(from).toBeGreaterThanOrEqual(firstServed?.at ?? from + 1);
        }
        if (service.unanswered === 'unobserved') {
          for (const { firstFailedAt } of outages) expect(at.get(firstFailedAt)).toBe('failed');
        }
        for (const { from, to } of unwatched(looks, service)) {
          const seen = spans.filter((span) => span.from < to && (span.to ?? to) > from);
          expect(seen.map(({ state }) => state)).toEqual(['unobserved']);
        }
      }
    });
  });
});

const hourMs = 3_600_000;

describe("time in which nobody looked is nobody's", () => {
  const unseen = [
    { kind: 'suspend', forMs: hourMs },
    { kind: 'stall', forMs: 60_000 },
    { kind: 'step', byMs: hourMs },
    { kind: 'restart', forMs: hourMs },
    { kind: 'cut-off', forMs: hourMs },
    { kind: 'reboot', forMs: hourMs },
  ] as const;

  test.each(unseen)('$kind', async (happening) => {
    const { spans, outages, looks } = await steadily(happening);
    expect(outages).toEqual([]);
    expect(spans.map(({ state }) => state)).toEqual(['up', 'unobserved', 'up']);
    const lastsMs = 'byMs' in happening ? happening.byMs : happening.forMs;
    const [, gap] = spans;
    const unobservedMs = (gap?.to ?? 0) - (gap?.from ?? 0);
    // Up until the next answer was due; an interval and a start may be added at the end.
    expect(unobservedMs).toBeGreaterThan(lastsMs - 11_000);
    // A process that is cut off takes with it what it had not written.
    const lostMs = happening.kind === 'cut-off' ? 30_000 : 0;
    expect(unobservedMs).toBeLessThan(lastsMs + 11_000 + lostMs);
    expect(looks.some(({ at }) => at > (gap?.from ?? 0) && at < (gap?.to ?? 0))).toBe(false);
  });

  test('a clock that is set back makes no time run twice, and none unobserved that was watched', async () => {
    const { spans, outages, endedAt } = await steadily({ kind: 'step', byMs: -hourMs });
    expect(outages).toEqual([]);
    expect(spans.map(({ state }) => state)).toEqual(['up']);
    expect(endedAt - (spans[0]?.from ?? 0)).toBeGreaterThan(hourMs);
  });
});

/** A service that is always there, asked every 10 s, and one thing that happens after an hour. */
async function steadily(happening: Happening) {
  const { entriesOf, looksOf, endedAt } = await lived({
    seed: 1,
    services: [steady('shop')],
    happenings: [{ afterMs: hourMs, happening }],
    lastsMs: 4 * hourMs,
  });
  return { ...entriesOf('shop'), looks: looksOf('shop'), endedAt };
}
