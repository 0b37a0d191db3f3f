/**
 * Who is told of a change, and what: a change in, edits of the outbox out. Pure, and without memory of its own: what
 * depends on what was told before is left to the record (`fold`, `restore`), so that a restart changes nothing.
 *
 * One outage that explains others makes one message. What needs other services waits a moment (`holdMs`) before it is
 * told, so that its cause may be found first; it is then folded into the cause's message, whichever came first.
 * Nothing is silenced by that: a channel that does not carry the cause is told of the service itself (the record folds
 * channel by channel).
 */
import { explains } from '../base/explains.ts';
import type { Standing } from '../base/standing.ts';
import type { Outage, ServiceCard } from '../base/values.ts';
import type { Change } from '../judge/memory.ts';
import type { Notice, NoticeEdit } from '../record/record.ts';
import { type ChannelChoice, takes } from './channel.ts';
import { noticeData, type Telling } from './notice-data.ts';
import { say } from './sentences.ts';

export interface DrafterParts {
  /** By id, in the order of the configuration. */
  readonly cards: ReadonlyMap<string, ServiceCard>;
  readonly channels: readonly ChannelChoice[];
  /** A new UUID at each call. */
  readonly newId: () => string;
  /** How long a service that needs others is held back: long enough to ask those. */
  readonly holdMs: (serviceId: string) => number;
}

type StandingOf = (serviceId: string) => Standing | undefined;
export type Drafter = (change: Change, standingOf: StandingOf) => readonly NoticeEdit[];

export function createDrafter(parts: DrafterParts): Drafter {
  const desk: Desk = { ...parts, affectedBy: dependents(parts.cards) };
  return (change, standingOf) => {
    const card = parts.cards.get(change.serviceId);
    if (!change.told || !card) return [];
    const scene: Scene = { desk, card, change, standingOf };
    switch (change.to) {
      case 'down':
        return wentDown(scene);
      case 'up':
        return [...cameUp(scene), ...released(scene)];
      case 'degraded':
        return [...becamePoor(scene), ...released(scene)];
      case 'unobserved':
        return lostSight(scene);
    }
  };
}

interface Desk extends DrafterParts {
  /** Ids of all that need a service, directly or not, in the order of the configuration. */
  readonly affectedBy: (serviceId: string) => readonly string[];
}

interface Scene {
  readonly desk: Desk;
  readonly card: ServiceCard;
  readonly change: Change;
  readonly standingOf: StandingOf;
}

function wentDown(scene: Scene): readonly NoticeEdit[] {
  const { desk, card, change } = scene;
  const takers = takersOf(desk, card, 'down');
  const causeId = change.outage?.causeId ?? null;
  if (causeId !== null) return wentDownBehind(scene, takers, causeId);
  if (takers.length === 0) return [];
  const affected = desk.affectedBy(card.id);
  const { trouble } = change.observation;
  const summary = say({
    kind: 'down',
    name: card.name,
    trouble,
    affected: namesOf(desk, affected),
    silentForMs: silentForMs(change),
  });
  const holdMs = card.needs.length > 0 ? desk.holdMs(card.id) : 0;
  const notice = noticeOf(scene, { summary, channels: takers, holdMs });
  const serviceIds = affected.filter((id) => explainedOutage(scene, id, change.outage));
  const fold = { kind: 'fold', serviceIds, into: notice.id } as const;
  return serviceIds.length > 0 ? [{ kind: 'add', notice }, fold] : [{ kind: 'add', notice }];
}

/** How long it has been silent, where silence is all that speaks against it. */
function silentForMs({ observation, outage, decidedAt }: Change): number | null {
  if (observation.outcome !== 'unproven' || !outage || outage.lastGoodAt === null) return null;
  return Math.max(decidedAt - outage.lastGoodAt, 0);
}

/** The cause's own message names it: nothing more to say, but to channels that do not carry the cause. */
function wentDownBehind(
  scene: Scene,
  takers: readonly string[],
  causeId: string,
): readonly NoticeEdit[] {
  const { desk, card } = scene;
  const channels = without(takers, informedOf(desk, causeId));
  const cause = nameOf(desk, causeId);
  const summary = say({ kind: 'down-behind', name: card.name, cause });
  return added(noticeOf(scene, { summary, channels, cause: causeId }));
}

/** The outage of a service that is down now and that this very outage of its cause explains. */
function explainedOutage(scene: Scene, id: string, cause: Outage | null): Outage | null {
  const standing = scene.standingOf(id);
  const outage = standing?.state === 'down' ? standing.outage : null;
  if (!outage || !cause || outage.causeId !== cause.serviceId) return null;
  // Not an earlier outage of the same cause.
  return explains(cause, outage.firstFailedAt) ? outage : null;
}

function cameUp(scene: Scene): readonly NoticeEdit[] {
  const { desk, card, change } = scene;
  const { outage } = change;
  const summary = say(
    change.from === 'degraded' && !outage
      ? { kind: 'normal', name: card.name }
      : { kind: 'up', name: card.name, afterMs: lastedMs(outage) },
  );
  const takers = takersOf(desk, card, 'up');
  if (!outage) return added(noticeOf(scene, { summary, channels: takers }));

  // Who heard of the outage hears of its end: the record knows. Who never hears of outages is told plainly.
  const heeding = takersOf(desk, card, 'down');
  const notice = noticeOf(scene, {
    summary,
    channels: takers.filter((name) => heeding.includes(name)),
  });
  const others = added(noticeOf(scene, { summary, channels: without(takers, heeding) }));
  return heeding.length > 0
    ? [{ kind: 'restore', outageId: outage.id, notice }, ...others]
    : others;
}

/** The outage that explained these is over; where they are down still, that is news of its own. */
function released(scene: Scene): readonly NoticeEdit[] {
  const { desk, card, change } = scene;
  const informed = informedOf(desk, card.id);
  return desk.affectedBy(card.id).flatMap((id) => {
    const dependent = desk.cards.get(id);
    const outage = explainedOutage(scene, id, change.outage);
    if (!dependent || !outage) return [];
    const last = scene.standingOf(id)?.last;
    const affected = desk.affectedBy(id);
    const trouble = last?.trouble ?? outage.trouble;
    const channels = takersOf(desk, dependent, 'down').filter((name) => informed.includes(name));
    const telling: Telling = {
      summary: say({
        kind: 'still-down',
        name: dependent.name,
        cause: card.name,
        trouble,
        affected: namesOf(desk, affected),
      }),
      card: dependent,
      state: 'down',
      previous: outage.lastGoodAt === null ? 'unobserved' : 'up',
      since: outage.firstFailedAt,
      observation: { at: last?.trouble ? last.at : outage.lastFailedAt, trouble },
      outage,
      cause: null,
      affected,
    };
    return added(
      written(desk, { telling, at: change.decidedAt, holdMs: desk.holdMs(id), channels }),
    );
  });
}

function becamePoor(scene: Scene): readonly NoticeEdit[] {
  const { desk, card, change } = scene;
  const { trouble } = change.observation;
  const afterMs = lastedMs(change.outage);
  const summary = say({ kind: 'degraded', name: card.name, trouble, afterMs });
  return added(noticeOf(scene, { summary, channels: takersOf(desk, card, 'degraded') }));
}

function lostSight(scene: Scene): readonly NoticeEdit[] {
  const { desk, card, change } = scene;
  const { trouble } = change.observation;
  const summary = say({ kind: 'unobserved', name: card.name, trouble });
  return added(noticeOf(scene, { summary, channels: takersOf(desk, card, 'unobserved') }));
}

function added(notice: Notice): readonly NoticeEdit[] {
  return notice.channels.length > 0 ? [{ kind: 'add', notice }] : [];
}

/** A notice of the change itself. */
function noticeOf(
  { desk, card, change }: Scene,
  more: { summary: string; channels: readonly string[]; holdMs?: number; cause?: string },
): Notice {
  const telling: Telling = {
    summary: more.summary,
    card,
    state: change.to,
    previous: change.from,
    since: change.since,
    observation: change.observation,
    outage: change.outage,
    cause: more.cause ?? null,
    affected: desk.affectedBy(card.id),
  };
  return written(desk, {
    telling,
    at: change.decidedAt,
    holdMs: more.holdMs ?? 0,
    channels: more.channels,
  });
}

function written(
  desk: Desk,
  given: { telling: Telling; at: number; holdMs: number; channels: readonly string[] },
): Notice {
  const { telling, at, holdMs, channels } = given;
  return {
    id: desk.newId(),
    type: `rollcall.service.${telling.state}`,
    at,
    serviceId: telling.card.id,
    outageId: telling.outage?.id ?? null,
    notBefore: at + holdMs,
    data: noticeData(telling),
    channels,
  };
}

/** Names of the channels that carry a change of this service. */
function takersOf(desk: Desk, card: ServiceCard, change: string): readonly string[] {
  return desk.channels.filter((channel) => takes(channel, card, change)).map(({ name }) => name);
}

/** Names of the channels that carry the outage of this service. */
function informedOf(desk: Desk, serviceId: string | null): readonly string[] {
  const card = serviceId === null ? undefined : desk.cards.get(serviceId);
  return card ? takersOf(desk, card, 'down') : [];
}

function without(names: readonly string[], others: readonly string[]): readonly string[] {
  return names.filter((name) => !others.includes(name));
}

function nameOf(desk: Desk, serviceId: string): string {
  return desk.cards.get(serviceId)?.name ?? serviceId;
}

function namesOf(desk: Desk, serviceIds: readonly string[]): readonly string[] {
  return serviceIds.map((id) => nameOf(desk, id));
}

function lastedMs(outage: Outage | null): number | null {
  if (!outage || outage.restoredAt === null) return null;
  return Math.max(outage.restoredAt - outage.firstFailedAt, 0);
}

/** The relation `needs` the other way round and over all steps. Circles do no harm. */
function dependents(
  cards: ReadonlyMap<string, ServiceCard>,
): (serviceId: string) => readonly string[] {
  const direct = new Map<string, string[]>();
  for (const card of cards.values()) {
    for (const needed of card.needs) direct.set(needed, [...(direct.get(needed) ?? []), card.id]);
  }
  return (serviceId) => {
    const found = new Set<string>();
    const open = [serviceId];
    for (let at = open.pop(); at !== undefined; at = open.pop()) {
      for (const id of direct.get(at) ?? []) {
        if (found.has(id)) continue;
        found.add(id);
        open.push(id);
      }
    }
    found.delete(serviceId);
    return [...cards.keys()].filter((id) => found.has(id));
  };
}
