/** The notices of planned work: that it begins, that it is over and what is not well then. Pure. */
import { instantText } from '../base/instants.ts';
import { isOf } from '../base/planned-time.ts';
import type { Standing } from '../base/standing.ts';
import type { PlannedWindow, ServiceCard } from '../base/values.ts';
import type { Notice, NoticeData } from '../record/record.ts';
import { type ChannelChoice, takes } from './channel.ts';
import { noticeData } from './notice-data.ts';
import { type PlannedSituation, sayPlanned } from './planned-sentences.ts';
import { say } from './sentences.ts';

export interface PlannedDesk {
  /** In the order of the configuration. */
  readonly cards: readonly ServiceCard[];
  readonly channels: readonly ChannelChoice[];
  readonly newId: () => string;
  readonly standingOf: (serviceId: string) => Standing;
}

export function beganNotice(desk: PlannedDesk, window: PlannedWindow, now: number): Notice | null {
  const situation: PlannedSituation = {
    kind: 'began',
    ...wordsOf(desk, window),
    why: window.why,
    forMs: window.to - now,
  };
  return noticeOf(desk, window, { type: 'rollcall.planned.began', at: now, situation });
}

/** `isPlanned`: still, by another window; of those nothing is said. */
export function endedNotice(
  desk: PlannedDesk,
  window: PlannedWindow,
  { now, isPlanned }: { readonly now: number; readonly isPlanned: (serviceId: string) => boolean },
): Notice | null {
  const unwell = cardsOf(desk, window).flatMap(({ id, name, kind }) => {
    const { state } = desk.standingOf(id);
    return state === 'up' || isPlanned(id) ? [] : [{ name, state, isJob: kind === 'job' }];
  });
  const situation: PlannedSituation = { kind: 'ended', ...wordsOf(desk, window), unwell };
  return noticeOf(desk, window, { type: 'rollcall.planned.ended', at: now, situation });
}

/**
 * That a service is degraded, or silent, since its planned time, which is over now: said when it is over, on the channels
 * that carry such a change and are not told of the planned work itself. Null where there is nothing to say.
 */
export function remainingNotice(
  desk: PlannedDesk,
  card: ServiceCard,
  { plannedFrom, now }: { readonly plannedFrom: number; readonly now: number },
): Notice | null {
  const { state, since, last, causeId, outage } = desk.standingOf(card.id);
  if (since === null || since < plannedFrom || last === null) return null;
  // That nobody looked, or could, is no news: only silence is.
  const isNews = state === 'degraded' || (state === 'unobserved' && last.outcome === 'unproven');
  if (!isNews) return null;
  const channels = desk.channels
    .filter((channel) => takes(channel, card, state) && !takes(channel, card, 'planned'))
    .map(({ name }) => name);
  if (channels.length === 0) return null;
  const { trouble } = last;
  const summary =
    state === 'degraded'
      ? say({ kind: 'degraded', name: card.name, trouble, afterMs: null })
      : say({ kind: 'unobserved', name: card.name, trouble });
  return {
    id: desk.newId(),
    type: `rollcall.service.${state}`,
    at: now,
    serviceId: card.id,
    outageId: outage?.id ?? null,
    notBefore: now,
    data: noticeData({
      summary: sayPlanned({ kind: 'over', name: card.name, summary }),
      card,
      state,
      previous: 'up',
      since,
      observation: last,
      outage,
      cause: causeId,
      affected: [],
    }),
    channels,
  };
}

export function cardsOf({ cards }: Pick<PlannedDesk, 'cards'>, window: PlannedWindow) {
  return cards.filter(({ id }) => isOf(window, id));
}

function wordsOf(desk: PlannedDesk, window: PlannedWindow) {
  const names = cardsOf(desk, window).map(({ name }) => name);
  const work = window.origin === 'declared' ? null : window.name;
  return { work, services: window.serviceIds === null ? null : names };
}

/** Null: no channel carries it. */
function noticeOf(
  desk: PlannedDesk,
  window: PlannedWindow,
  {
    type,
    at,
    situation,
  }: { readonly type: string; readonly at: number; readonly situation: PlannedSituation },
): Notice | null {
  const about = cardsOf(desk, window);
  const channels = desk.channels
    .filter((channel) => about.some((card) => takes(channel, card, 'planned')))
    .map(({ name }) => name);
  if (channels.length === 0) return null;
  const { id, name, why, from, to, serviceIds } = window;
  const data: NoticeData = {
    summary: sayPlanned(situation),
    planned: { id, name, why, from: instantText(from), to: instantText(to), services: serviceIds },
  };
  return {
    id: desk.newId(),
    type,
    at,
    serviceId: null,
    outageId: null,
    notBefore: at,
    data,
    channels,
  };
}
