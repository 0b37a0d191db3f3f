/** Looks whether budgets last, where something was down of late, and tells of one that will not. */

import type { ServiceCard } from './base/values.ts';
import { type NewsGiven, post } from './news-post.ts';
import { readHistory } from './record/history.ts';
import { sinceDay } from './report/days.ts';
import { budgetNotice } from './tell/budget.ts';
import { takes } from './tell/channel.ts';
import {
  type Burning,
  type BurnMemory,
  budgetPeriodMs,
  budgetUsed,
  burnStep,
  slowBurningOf,
  slowWindow,
  unburnt,
} from './uptime/burning.ts';
import type { Interval } from './uptime/intervals.ts';

export interface Budgets {
  /** One look at those of which something may have been used of late; nothing is read where there is none. */
  look(): Promise<void>;
  stop(): void;
}

interface Aimed {
  readonly card: ServiceCard;
  readonly objective: number;
}

export function budgetsOf(given: NewsGiven): Budgets {
  const { clock, cards, channels, standingOf, listen } = given;
  const aimed = cards
    .filter((card) => channels.some((channel) => takes(channel, card, 'budget')))
    .flatMap((card): Aimed[] =>
      card.objective === null ? [] : [{ card, objective: card.objective }],
    );
  /** When a service was last known to be down, by its id. */
  const downAt = new Map<string, number>();
  let isSeeded = false;
  const unlisten = listen(({ serviceId, change }) => {
    if (change?.from === 'down' || change?.to === 'down') downAt.set(serviceId, change.decidedAt);
  });
  const wasDownSince = (id: string, from: number): boolean =>
    standingOf(id).outage !== null || (downAt.get(id) ?? Number.NEGATIVE_INFINITY) > from;

  return {
    look: async () => {
      if (aimed.length === 0) return;
      const now = clock.wallMs();
      const window = { from: now - slowWindow.longMs, to: now };
      if (!isSeeded) {
        await seed(given, window, downAt);
        isSeeded = true;
      }
      for (const one of aimed) {
        if (wasDownSince(one.card.id, window.from)) await lookAt(given, one, now);
      }
    },
    stop: unlisten,
  };
}

/** What happened before this process. */
async function seed(
  { record }: NewsGiven,
  window: Interval,
  downAt: Map<string, number>,
): Promise<void> {
  for (const { serviceId, restoredAt } of await record.outages(null, window)) {
    const at = restoredAt ?? window.to;
    downAt.set(serviceId, Math.max(at, downAt.get(serviceId) ?? at));
  }
}

async function lookAt(given: NewsGiven, { card, objective }: Aimed, now: number): Promise<void> {
  const { record, channels, newId, zone } = given;
  const burning = slowBurningOf(await historyOf(given, card.id, slowWindow.longMs, now), objective);
  const name = `told:budget ${card.id}`;
  const before = await record.kept(name);
  const { memory, isDue } = burnStep(memoryIn(before), burning, now);
  const words = wordsOf(memory);
  if (words === (before ?? '')) return;
  const notices = [];
  if (isDue) {
    const used = budgetUsed(await historyOf(given, card.id, budgetPeriodMs, now), objective);
    const since = sinceDay(used.sinceAt ?? now, now, zone);
    const told = { card, objective, ...used, since, burnRates: ratesOf(burning) };
    const notice = budgetNotice(told, { channels, at: now, newId });
    if (notice) notices.push(notice);
  }
  await post(given, notices, [{ name, words }]);
}

function historyOf(
  { record, standingOf }: NewsGiven,
  serviceId: string,
  windowMs: number,
  now: number,
) {
  const { outage: open } = standingOf(serviceId);
  const window = { from: now - windowMs, to: now };
  return readHistory(record, { serviceId, window, now, open, watchedUntil: null });
}

function ratesOf({ long, short }: Burning) {
  return { longMs: slowWindow.longMs, long: long ?? 0, short: short ?? 0 };
}

/** `told`, or `told 1795579200000`: not burning since. Empty: not told. */
function wordsOf({ isTold, quietSince }: BurnMemory): string {
  if (!isTold) return '';
  return quietSince === null ? 'told' : `told ${quietSince}`;
}

function memoryIn(words: string | null): BurnMemory {
  const found = /^told(?: (\d{1,16}))?$/.exec(words ?? '');
  if (found === null) return unburnt;
  return { isTold: true, quietSince: found[1] === undefined ? null : Number(found[1]) };
}
