/**
 * Who hears what, in random worlds: no change that is to be told without its notice, no notice without its change, and
 * silence where it is wanted. The receiver turns some messages away, and daemons die while they send.
 */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { Outage, Span, State } from '../../src/base/values.ts';
import { courseOf } from './course.ts';
import type { Heard } from './household.ts';
import { type Lived, lived, type Telling } from './lived.ts';
import { inWorlds } from './proof.ts';
import { type EventfulWorld, quietWorlds, relatedWorlds, roughWorlds, steady } from './worlds.ts';

const telling: Telling = { channels: [{ name: 'phone', only: null }], refusals: 0.3 };

describe('services that stand for themselves', () => {
  test('each change is told once and nothing else: no gap, no first answer that is good, nothing twice', async () => {
    await inWorlds(roughWorlds.filter(isNeverSetBack), 60, async (world) => {
      const { entriesOf, heard } = await lived(world, telling);
      for (const { id } of world.services) {
        const { spans } = entriesOf(id);
        expect(newsIn(heard, id)).toEqual(newsOf(spans));
      }
    });
  });

  test('where silence decides nothing, lasting silence is told, and what was found after it', async () => {
    await inWorlds(quietWorlds.filter(isNeverSetBack), 60, async (world) => {
      const { entriesOf, looksOf, heard } = await lived(world, telling);
      for (const { id } of world.services) {
        const silences = looksOf(id).filter(
          ({ observation }) => observation.outcome === 'unproven',
        );
        const silentAt = new Set(silences.map(({ at }) => at));
        expect(withoutFirstSight(newsIn(heard, id))).toEqual(
          withoutFirstSight(newsWithSilence(entriesOf(id).spans, silentAt)),
        );
      }
    });
  });

  test('an outage is told, and its end to whoever heard of it, though clocks are set back', async () => {
    await inWorlds(roughWorlds, 60, async (world) => {
      const { entriesOf, heard } = await lived(world, telling);
      for (const { id } of world.services) {
        for (const outage of entriesOf(id).outages) {
          const news = once(heard).filter(({ notice }) => notice.outageId === outage.id);
          const expected = outage.restoredAt === null ? [/down$/] : [/down$/, /(up|degraded)$/];
          expect(news.map(({ notice }) => notice.type)).toEqual(
            expected.map((type) => expect.stringMatching(type)),
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
        const downs = news.filter(({ notice }) => notice.type.endsWith('.down'));
        const ups = news.filter(({ notice }) => notice.type.endsWith('.up'));
        const poor = news.filter(({ notice }) => notice.type.endsWith('.degraded'));
        expect(ups.length + poor.length).toBeLessThanOrEqual(outage.restoredAt === null ? 0 : 1);
        if (ups.length > 0) {
          expect(downs.length).toBeGreaterThan(0);
          expect(news.at(-1)).toBe(ups[0]);
        }
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
      const isTold = ({ id }: Outage) =>
        heard.some(({ notice }) => notice.outageId === id && notice.type.endsWith('.down'));
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
            one.serviceId === outage.causeId &&
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
        heard.some(({ notice }) => notice.outageId === outage?.id && notice.type.endsWith('.down'));
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
    .map(({ notice }) => notice.type.replace('rollcall.service.', ''));
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
