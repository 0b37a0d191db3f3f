/**
 * What the parts of the drafter share: who carries what, who is affected by what, and how a notice of a change is written
 * down. Pure.
 */
import { explains } from '../base/explains.ts';
import type { Standing } from '../base/standing.ts';
import type { Outage, ServiceCard } from '../base/values.ts';
import type { Change } from '../judge/memory.ts';
import type { Notice, NoticeEdit } from '../record/record.ts';
import { type ChannelChoice, takes } from './channel.ts';
import { type JobData, noticeData, type Telling } from './notice-data.ts';

export interface DrafterParts {
  /** By id, in the order of the configuration. */
  readonly cards: ReadonlyMap<string, ServiceCard>;
  readonly channels: readonly ChannelChoice[];
  /** A new UUID at each call. */
  readonly newId: () => string;
  /** How long a service that needs others is held back: long enough to ask those. */
  readonly holdMs: (serviceId: string) => number;
  /** Of jobs, what of their last run is told with a change. */
  readonly jobOf?: (serviceId: string) => JobData | null;
}

export type StandingOf = (serviceId: string) => Standing | undefined;

export interface Desk extends DrafterParts {
  /** Ids of all that need a service, directly or not, in the order of the configuration. */
  readonly affectedBy: (serviceId: string) => readonly string[];
}

export interface Scene {
  readonly desk: Desk;
  readonly card: ServiceCard;
  readonly change: Change;
  readonly standingOf: StandingOf;
}

/** A desk with these parts. */
export function deskOf(parts: DrafterParts): Desk {
  return { ...parts, affectedBy: dependents(parts.cards) };
}

/** The outage of a service that is down now and that this very outage of its cause explains. */
export function explainedOutage(scene: Scene, id: string, cause: Outage | null): Outage | null {
  const standing = scene.standingOf(id);
  const outage = standing?.state === 'down' ? standing.outage : null;
  if (!outage || !cause || outage.causeId !== cause.serviceId) return null;
  // Not an earlier outage of the same cause.
  return explains(cause, outage.firstFailedAt) ? outage : null;
}

/** How long it has been silent, where silence is all that speaks against it. */
export function silentForMs({ observation, outage, decidedAt }: Change): number | null {
  if (observation.outcome !== 'unproven' || !outage || outage.lastGoodAt === null) return null;
  return Math.max(decidedAt - outage.lastGoodAt, 0);
}

export function added(notice: Notice): readonly NoticeEdit[] {
  return notice.channels.length > 0 ? [{ kind: 'add', notice }] : [];
}

/** A notice of the change itself. */
export function noticeOf(
  { desk, card, change }: Scene,
  more: {
    readonly summary: string;
    readonly channels: readonly string[];
    readonly holdMs?: number;
    readonly cause?: string;
    /** In place of the state that was entered. */
    readonly type?: 'unsteady' | 'steady';
    readonly unsteady?: NonNullable<Telling['unsteady']>;
    /** In place of the change's own. */
    readonly outage?: Outage | null;
  },
): Notice {
  const telling: Telling = {
    summary: more.summary,
    card,
    state: change.to,
    previous: change.from,
    since: change.since,
    observation: change.observation,
    outage: more.outage === undefined ? change.outage : more.outage,
    cause: more.cause ?? null,
    affected: desk.affectedBy(card.id),
    ...(more.unsteady && { unsteady: more.unsteady }),
  };
  return written(desk, {
    telling,
    ...(more.type && { type: more.type }),
    at: change.decidedAt,
    holdMs: more.holdMs ?? 0,
    channels: more.channels,
  });
}

export function written(
  desk: Desk,
  given: {
    readonly telling: Telling;
    /** The state that is told, unless given. */
    readonly type?: string;
    readonly at: number;
    readonly holdMs: number;
    readonly channels: readonly string[];
  },
): Notice {
  const { telling, type = telling.state, at, holdMs, channels } = given;
  const job = desk.jobOf?.(telling.card.id);
  return {
    id: desk.newId(),
    type: `rollcall.service.${type}`,
    at,
    serviceId: telling.card.id,
    outageId: telling.outage?.id ?? null,
    notBefore: at + holdMs,
    data: noticeData(job ? { ...telling, job } : telling),
    channels,
  };
}

/** Names of the channels that carry a change of this service. */
export function takersOf(desk: Desk, card: ServiceCard, change: string): readonly string[] {
  return desk.channels.filter((channel) => takes(channel, card, change)).map(({ name }) => name);
}

/** Names of the channels that carry the outage of this service. */
export function informedOf(desk: Desk, serviceId: string | null): readonly string[] {
  const card = serviceId === null ? undefined : desk.cards.get(serviceId);
  return card ? takersOf(desk, card, 'down') : [];
}

export function without(names: readonly string[], others: readonly string[]): readonly string[] {
  return names.filter((name) => !others.includes(name));
}

export function nameOf(desk: Desk, serviceId: string): string {
  return desk.cards.get(serviceId)?.name ?? serviceId;
}

export function namesOf(desk: Desk, serviceIds: readonly string[]): readonly string[] {
  return serviceIds.map((id) => nameOf(desk, id));
}

export function lastedMs(outage: Outage | null): number | null {
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
