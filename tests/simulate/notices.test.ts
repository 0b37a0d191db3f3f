/**
 * Who hears what, in random worlds: no change that is to be told without its notice, no notice without its change, and
 * silence where it is wanted. The receiver turns some messages away, and daemons die while they send.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { Outage, Span, State } from '../../src/base/values.ts';
import { type Condition, courseOf } from './course.ts';
import type { Heard } from './household.ts';
import { type Lived, lived, type Telling } from './lived.ts';
import { inWorlds } from './proof.ts';
import { type Event, messagesDue } from './unsteady.ts';
import { type EventfulWorld, quietWorlds, relatedWorlds, roughWorlds, steady } from './worlds.ts';

const telling: Telling = { channels: [{ name: 'phone', only: null }], refusals: 0.3 };

describe('services that stand for themselves', () => {
  test('each change is told once and nothing else, or by one message where it changes too often: no gap, no first answer that is good, nothing twice', async () => {
    await inWorlds(roughWorlds.filter(isNeverSetBack), 60, async (world) => {
      const { entriesOf, eventsOf, heard } = await lived(world, telling);
      for (const { id } of world.services) {
        expect(changesOf(eventsOf(id))).toEqual(newsOf(entriesOf(id).spans));
        expect(newsIn(heard, id)).toEqual(wordsDue(eventsOf(id)));
      }
    });
  });

  test('where silence decides nothing, lasting silence is told, and what was found after it', async () => {
    await inWorlds(quietWorlds.filter(isNeverSetBack), 60, async (world) => {
      const { entriesOf, eventsOf, looksOf, heard } = await lived(world, telling);
      for (const { id } of world.services) {
        expect(newsIn(heard, id)).toEqual(wordsDue(eventsOf(id)));
        const silences = looksOf(id).filter(
          ({ observation }) => observation.outcome === 'unproven',
        );
        const silentAt = new Set(silences.map(({ at }) => at));
        expect(withoutFirstSight(changesOf(eventsOf(id)))).toEqual(
          withoutFirstSight(newsWithSilence(entriesOf(id).spans, silentAt)),
        );
      }
    });
  });

  test('an outage is told, and its end to whoever heard of it, though clocks are set back', async () => {
    await inWorlds(roughWorlds, 60, async (world) => {
      const { entriesOf, eventsOf, heard } = await lived(world, telling);
      for (const { id } of world.services) {
        const due = messagesDue(eventsOf(id));
        for (const outage of entriesOf(id).outages) {
          const news = once(heard).filter(({ notice }) => notice.outageId === outage.id);
          const words = news.map(wordOf);
          const expected = due.filter(({ outageId }) => outageId === outage.id);
          expect(words).toEqual(expected.map(({ word }) => word));
          if (wasUnsteady(eventsOf(id), outage)) continue;
          // Steady again by so much that this one does not change it.
          expect(words[0]).toMatch(/^(down|steady)$/);
          expect(words.slice(1)).toEqual(
            outage.restoredAt === null ? [] : [expect.stringMatching(/^(up|degraded)$/)],
          );
        }
      }
    });
  });

  test('a message comes once, or with the same id again where the daemon died before it knew', async () => {
    await inWorlds(roughWorlds, 60, async (world) => {
      const { heard } = await lived(world, telling);
      const copies = heard.length - once(heard).length;
      const deaths = world.happenings.filter(({ happening }) => happening.kind === 'cut-off');
      // One lane for each outage, and eight at a time.
      expect(copies).toBeLessThanOrEqual(8 * deaths.length);
    });
  });
});

describe('services that need each other, or are seen through one another', () => {
  test('who hears of an end has heard of the outage, and who heard of an outage hears of its end', async () => {
    await inWorlds(relatedWorlds, 60, async (world) => {
      const { heard, ...rest } = await lived(world, telling);
      for (const outage of outagesOf(world, rest)) {
        const news = once(heard).filter(({ notice }) => notice.outageId === outage.id);
        const downs = news.filter(tellsOfOutage);
        const ups = news.filter(({ notice }) => notice.type.endsWith('.up'));
        const poor = news.filter(({ notice }) => notice.type.endsWith('.degraded'));
        expect(ups.length + poor.length).toBeLessThanOrEqual(outage.restoredAt === null ? 0 : 1);
        if (ups.length > 0) {
          expect(downs.length).toBeGreaterThan(0);
          expect(news.at(-1)).toBe(ups[0]);
        }
        const isSteadyByThen = downs.at(-1)?.notice.type.endsWith('.steady');
        if (!isSteadyByThen && wasUnsteady(rest.eventsOf(outage.serviceId), outage)) continue;
        if (downs.length > 0 && outage.restoredAt !== null) {
          expect(ups.length + poor.length).toBe(1);
        }
      }
    });
  });

  test('an outage of its own is told, if it lasts until its needs were asked; one that is explained is told by its cause', async () => {
    await inWorlds(relatedWorlds, 60, async (world) => {
      const { heard, ...rest } = await lived(world, telling);
      const outages = outagesOf(world, rest);
      const isTold = (outage: Outage) =>
        heard.some((one) => one.notice.outageId === outage.id && tellsOfOutage(one)) ||
        // Held back, as somebody was told that it would be; or given time, where its cause is.
        [outage.serviceId, ...allNeeds(world, outage.serviceId)].some((id) =>
          wasUnsteady(rest.eventsOf(id), outage),
        );
      const holdMs = Math.max(
        ...world.services.map((one) => one.confirm * (one.recheckMs + one.timeoutMs)),
      );
      const lasted = ({ confirmedAt, restoredAt }: Outage) =>
        (restoredAt ?? rest.endedAt) - confirmedAt > holdMs + 1_000;
      for (const outage of outages.filter(lasted)) {
        if (isTold(outage)) continue;
        // Not told by itself: then it stands behind a cause that was.
        const causes = outages.filter(
          (one) =>
            causesOf(rest.eventsOf(outage.serviceId), outage).includes(one.serviceId) &&
            one.firstFailedAt <= (outage.restoredAt ?? rest.endedAt) &&
            (one.restoredAt ?? rest.endedAt) >= outage.firstFailedAt,
        );
        expect(causes.some((one) => isTold(one) || !lasted(one))).toBe(true);
      }
    });
  });

  test('whatever is down in the end was told, or stands behind an outage that was and is not over', async () => {
    await inWorlds(relatedWorlds, 60, async (world) => {
      const { heard, entriesOf } = await lived(world, telling);
      const openOf = (id: string) =>
        entriesOf(id).outages.find(({ restoredAt }) => restoredAt === null);
      const isTold = (outage: Outage | undefined) =>
        isKnownUnsteady(heard, outage?.serviceId) ||
        heard.some((one) => one.notice.outageId === outage?.id && tellsOfOutage(one));
      for (const { id } of world.services) {
        const outage = openOf(id);
        if (entriesOf(id).spans.at(-1)?.state !== 'down' || isTold(outage)) continue;
        // Its cause may be out of sight by now; nothing has shown that it is over.
        expect(isTold(openOf(outage?.causeId ?? ''))).toBe(true);
      }
    });
  });

  test('behind a gateway that is down a failure makes a service unobserved and not down, and nobody hears of it', async () => {
    await inWorlds(relatedWorlds.map(withoutJumps), 60, async (world) => {
      const { heard, ...rest } = await lived(world, telling);
      const outages = outagesOf(world, rest);
      expect(heard.filter(({ notice }) => notice.type.endsWith('.unobserved'))).toEqual([]);
      const timeoutMs = Math.max(...world.services.map((one) => one.timeoutMs));
      for (const { id, through } of world.services) {
        const gone = outages.filter(({ serviceId }) => through.includes(serviceId));
        for (const outage of outages.filter(({ serviceId }) => serviceId === id)) {
          // Both are instants of questions; the answer that decided came within so long.
          const hiding = gone.filter(
            ({ confirmedAt, restoredAt }) =>
              confirmedAt + timeoutMs < outage.confirmedAt &&
              outage.confirmedAt < (restoredAt ?? rest.endedAt),
          );
          expect(hiding).toEqual([]);
        }
        const failures = rest
          .looksOf(id)
          .filter(({ observation }) => observation.outcome === 'failed')
          .filter(({ at }) =>
            gone.some((one) => one.confirmedAt + timeoutMs < at && at < one.lastFailedAt),
          );
        const { spans } = rest.entriesOf(id);
        for (const { at } of failures) {
          const span = spans.find(({ from, to }) => from <= at && at < (to ?? at + 1));
          expect(span?.state).toBe('unobserved');
        }
      }
    });
  });
});

describe('a service that changes too often', () => {
  test('down and up every few minutes for a day is four messages at most, restarts or not', async () => {
    const drawn = fc.record({
      seed: fc.nat(),
      downMs: fc.integer({ min: 30_000, max: 120_000 }),
      upMs: fc.integer({ min: 30_000, max: 120_000 }),
      everyMs: fc.constantFrom(5_000, 10_000),
      restarts: fc.array(fc.integer({ min: 3_600_000, max: 12 * 3_600_000 }), { maxLength: 3 }),
    });
    await inWorlds(drawn, 8, async ({ seed, downMs, upMs, everyMs, restarts }) => {
      const course = courseOf(flapping(dayMs, { upMs, downMs }));
      const world = {
        seed,
        services: [steady('shop', { everyMs, course })],
        happenings: restarts.map(
          (afterMs) => ({ afterMs, happening: { kind: 'restart', forMs: 1_000 } }) as const,
        ),
        lastsMs: dayMs + 2 * 3_600_000,
      };
      const { heard, entriesOf, eventsOf } = await lived(world, { ...telling, refusals: 0 });
      expect(entriesOf('shop').outages.length).toBeGreaterThan(300);
      expect(newsIn(heard, 'shop')).toEqual(['down', 'up', 'unsteady', 'steady']);
      expect(wordsDue(eventsOf('shop'))).toEqual(['down', 'up', 'unsteady', 'steady']);
    });
  });

  test('every minute, what needs it and is slow to follow it is not told each time either', async () => {
    const course = courseOf(flapping(dayMs, { upMs: 60_000, downMs: 60_000 }));
    // Each time it is back half a minute later.
    const lagging = courseOf(flapping(dayMs, { upMs: 60_000, downMs: 90_000, every: 120_000 }));
    const services = [
      steady('nas', { course }),
      // Sees it first each time: what it needs is found out after that.
      steady('shop', { needs: ['nas'], everyMs: 5_000, confirm: 1 }),
      steady('archive', { needs: ['nas'], course: lagging }),
    ];
    const world = { seed: 1, services, happenings: [], lastsMs: dayMs + 2 * 3_600_000 };
    const { heard, eventsOf } = await lived(world, { ...telling, refusals: 0 });
    expect(eventsOf('shop').filter(({ isUnsteady }) => isUnsteady)).toEqual([]);
    expect(newsIn(heard, 'nas')).toEqual(['down', 'up', 'unsteady', 'steady']);
    expect(newsIn(heard, 'shop')).toEqual([]);
    // Told once, with the first outage, that it was down still.
    expect(newsIn(heard, 'archive')).toEqual(['down', 'up']);
  });

  test('whoever hears that a service is steady has heard that it was not, in turn, whatever needs what', async () => {
    await inWorlds(relatedWorlds, 40, async (world) => {
      const { heard } = await lived(world, telling);
      for (const { id } of world.services) {
        const turns = newsIn(heard, id).filter((word) => /steady$/.test(word));
        expect(turns).toEqual(turns.map((_, nth) => (nth % 2 === 0 ? 'unsteady' : 'steady')));
      }
    });
  });
});

describe('after the machine has booted', () => {
  test('what comes up while things settle is silent, and what does not is told when they have', async () => {
    const settleMs = 120_000;
    const drawn = fc.tuple(fc.nat(), fc.integer({ min: 0, max: 300_000 }));
    await inWorlds(drawn, 40, async ([seed, badMs]) => {
      const bootMs = 600_000;
      const service = steady('shop', {
        course: courseOf([
          { lastsMs: 300_000, condition: 'good' },
          // The machine is off in the first half, and the service takes its time in the second.
          { lastsMs: 300_000 + badMs, condition: 'bad' },
          { lastsMs: 1, condition: 'good' },
        ]),
      });
      const off = { afterMs: 299_000, happening: { kind: 'reboot', forMs: 300_900 } } as const;
      const world = { seed, services: [service], happenings: [off], lastsMs: 1_800_000 };
      const { heard, entriesOf } = await lived(world, { ...telling, refusals: 0, settleMs });
      const { outages, spans } = entriesOf('shop');
      const from = spans[0]?.from ?? 0;
      const settledAt = from + bootMs + settleMs;
      const restoredAt = outages[0]?.restoredAt ?? 0;
      if (Math.abs(restoredAt - settledAt) < 5_000) return;
      const types = heard.map(({ notice }) => notice.type.split('.').at(-1));
      expect(types).toEqual(restoredAt > settledAt ? ['down', 'up'] : []);
      for (const { at } of heard) expect(at).toBeGreaterThan(settledAt - 5_000);
    });
  });
});

const dayMs = 24 * 3_600_000;

/** Up and down in turns for so long, and up from then on; `every`: from one beginning of an outage to the next. */
function flapping(
  lastsMs: number,
  { upMs, downMs, every = upMs + downMs }: { upMs: number; downMs: number; every?: number },
): readonly { readonly lastsMs: number; readonly condition: Condition }[] {
  const stays: { lastsMs: number; condition: Condition }[] = [{ lastsMs: upMs, condition: 'good' }];
  for (let total = upMs; total < lastsMs; total += every) {
    stays.push(
      { lastsMs: downMs, condition: 'bad' },
      { lastsMs: every - downMs, condition: 'good' },
    );
  }
  return stays;
}

function wordsDue(events: readonly Event[]): readonly string[] {
  return messagesDue(events).map(({ word }) => word);
}

/** What changed, of whatever was known. */
function changesOf(events: readonly Event[]): readonly State[] {
  return changesIn(events.flatMap(({ change }) => change?.to ?? []));
}

function wasUnsteady(events: readonly Event[], { firstFailedAt, restoredAt }: Outage): boolean {
  const end = restoredAt ?? Number.POSITIVE_INFINITY;
  return events.some(({ at, isUnsteady }) => isUnsteady && at >= firstFailedAt && at <= end);
}

/** The last that was told of it, of these two. */
function isKnownUnsteady(heard: readonly Heard[], id: string | undefined): boolean {
  if (id === undefined) return false;
  return newsIn(heard, id).findLast((word) => /steady$/.test(word)) === 'unsteady';
}

function tellsOfOutage({ notice }: Heard): boolean {
  return /\.(down|unsteady|steady)$/.test(notice.type);
}

function wordOf({ notice }: Heard): string {
  return notice.type.replace('rollcall.service.', '');
}

/** What explained it when it was decided, or does now: one that goes on by itself has its cause forgotten. */
function causesOf(events: readonly Event[], { id, causeId }: Outage): readonly (string | null)[] {
  const first = events.find(({ change }) => change?.outageId === id)?.change?.causeId ?? null;
  return [causeId, first];
}

/** Directly or not. */
function allNeeds(world: Pick<EventfulWorld, 'services'>, id: string): readonly string[] {
  const needs = world.services.find((one) => one.id === id)?.needs ?? [];
  return [...needs, ...needs.flatMap((needed) => allNeeds(world, needed))];
}

/** What is to be told of a service, from what the record says of its states: gaps have no news in them. */
function newsOf(spans: readonly Span[]): readonly string[] {
  return changesIn(spans.map(({ state }) => state).filter((state) => state !== 'unobserved'));
}

/** The first that is up is no news, and nothing is twice. */
function changesIn(states: readonly State[]): readonly State[] {
  return states.filter((state, nth) => state !== (states[nth - 1] ?? 'up'));
}

/** That nobody knows is news where it began with a silent answer, and not with none. */
function newsWithSilence(spans: readonly Span[], silentAt: ReadonlySet<number>): readonly string[] {
  const states = spans
    .filter(({ state, from }, nth) => state !== 'unobserved' || (nth > 0 && silentAt.has(from)))
    .map(({ state }) => state);
  return changesIn(states);
}

/**
 * One answer ends the silence; that there are reservations is to be confirmed like at any other time. If it is, it was
 * so from that answer on: the record has no span in which it was up, but somebody was told.
 */
function withoutFirstSight(news: readonly string[]): readonly string[] {
  return news.filter(
    (state, nth) =>
      !(state === 'up' && news[nth - 1] === 'unobserved' && news[nth + 1] === 'degraded'),
  );
}

/** In the order in which it was written down: messages of different outages may overtake each other. */
function newsIn(heard: readonly Heard[], id: string): readonly string[] {
  return once(heard)
    .filter(({ notice }) => notice.serviceId === id)
    .sort((one, other) => numberOf(one) - numberOf(other))
    .map(wordOf);
}

function once(heard: readonly Heard[]): readonly Heard[] {
  return heard.filter(
    ({ notice }, nth) => heard.findIndex((other) => other.notice.id === notice.id) === nth,
  );
}

function numberOf({ notice }: Heard): number {
  return Number(notice.id.replace('notice-', ''));
}

/** Where all clocks go alike, an exchange takes no longer on one than on another. */
function withoutJumps({ happenings, ...world }: EventfulWorld): EventfulWorld {
  const jumps = ['step', 'suspend', 'stall'];
  return {
    ...world,
    happenings: happenings.filter(({ happening: { kind } }) => !jumps.includes(kind)),
  };
}

function isNeverSetBack({ happenings }: EventfulWorld): boolean {
  return happenings.every(({ happening }) => happening.kind !== 'step' || happening.byMs >= 0);
}

function outagesOf(
  world: EventfulWorld,
  { entriesOf }: Pick<Lived, 'entriesOf'>,
): readonly Outage[] {
  return world.services.flatMap(({ id }) => entriesOf(id).outages);
}
