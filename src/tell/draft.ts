/**
 * Who is told of a change, and what: a change in, edits of the outbox out. Pure, and without memory of its own: what
 * depends on what was told before is left to the record (`fold`, `restore`), so that a restart changes nothing. What is
 * told of a service that changes too often stands in `unsteady.ts`.
 *
 * One outage that explains others makes one message. What needs other services waits a moment (`holdMs`) before it is
 * told, so that its cause may be found first; it is then folded into the cause's message, whichever came first.
 * Nothing is silenced by that: a channel that does not carry the cause is told of the service itself (the record folds
 * channel by channel).
 */
import { explains } from '../base/explains.ts';
import type { Outage, ServiceCard } from '../base/values.ts';
import type { Change } from '../judge/memory.ts';
import type { NoticeEdit } from '../record/record.ts';
import {
  added,
  type DrafterParts,
  deskOf,
  explainedOutage,
  informedOf,
  lastedMs,
  nameOf,
  namesOf,
  noticeOf,
  type Scene,
  type StandingOf,
  silentForMs,
  takersOf,
  without,
  written,
} from './desk.ts';
import type { Telling } from './notice-data.ts';
import { say } from './sentences.ts';
import { ifNotKnown, unsteadily } from './unsteady.ts';

/** In so long an unsteady service is steady or has gone down again, more often than not: the half-life of its penalty. */
const unsteadyHoldMs = 15 * 60_000;

export type Drafter = (change: Change, standingOf: StandingOf) => readonly NoticeEdit[];

export function createDrafter(parts: DrafterParts): Drafter {
  const desk = deskOf(parts);
  return (change, standingOf) => {
    const card = parts.cards.get(change.serviceId);
    if (!card) return [];
    const scene: Scene = { desk, card, change, standingOf };
    // That it is steady again may be all that there is to say.
    const isChange = change.from !== change.to || change.unsteadiness === null;
    const own = change.told && isChange ? ownNews(scene) : [];
    return [...unsteadily(scene, own), ...released(scene)];
  };
}

/** Of the service itself. */
function ownNews(scene: Scene): readonly NoticeEdit[] {
  switch (scene.change.to) {
    case 'down':
      return wentDown(scene);
    case 'up':
      return cameUp(scene);
    case 'degraded':
      return becamePoor(scene);
    case 'unobserved':
      return lostSight(scene);
  }
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

function cameUp(scene: Scene): readonly NoticeEdit[] {
  const { desk, card, change } = scene;
  const { outage } = change;
  const summary = say(
    change.from === 'degraded' && !outage
      ? { kind: 'normal', name: card.name }
      : { kind: 'up', name: card.name, afterMs: lastedMs(outage), isJob: card.kind === 'job' },
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

/**
 * The outage that explained these is over; where they are down still, that is news of its own. One that is unsteady may be
 * back in a moment and gone again, and they with it: they are given time.
 */
function released(scene: Scene): readonly NoticeEdit[] {
  const { desk, card, change } = scene;
  if (!change.told || change.to === 'down' || change.to === 'unobserved') return [];
  const isUnsteady = change.unsteadiness !== null && change.unsteadiness.phase !== 'ended';
  const informed = informedOf(desk, card.id);
  return desk.affectedBy(card.id).flatMap((id) => {
    const dependent = desk.cards.get(id);
    const outage = explainedOutage(scene, id, change.outage);
    if (!dependent) return [];
    if (!outage) return explainedElsewhere(scene, dependent);
    const standing = scene.standingOf(id);
    const channels = takersOf(desk, dependent, 'down').filter((name) => informed.includes(name));
    const summary = say({
      // By then nobody knows whether what is unsteady answers.
      ...(isUnsteady ? { kind: 'down' } : { kind: 'still-down', cause: card.name }),
      name: dependent.name,
      trouble: standing?.last?.trouble ?? outage.trouble,
      affected: namesOf(desk, desk.affectedBy(id)),
    });
    const telling = tellingOf(scene, dependent, { summary, outage, cause: null });
    const holdMs = Math.max(desk.holdMs(id), isUnsteady ? unsteadyHoldMs : 0);
    const edits = added(written(desk, { telling, at: change.decidedAt, holdMs, channels }));
    return standing?.unsteady ? edits.map(ifNotKnown) : edits;
  });
}

/**
 * Down, and another outage explains it by now. Who was left to hear of it by the one that is over, and does not hear of the
 * other, was told of neither.
 */
function explainedElsewhere(scene: Scene, dependent: ServiceCard): readonly NoticeEdit[] {
  const { desk, card, change } = scene;
  const standing = scene.standingOf(dependent.id);
  const outage = standing?.state === 'down' ? standing.outage : null;
  const causeId = outage?.causeId ?? null;
  if (!standing || !outage || causeId === null || !change.outage) return [];
  if (!explains(change.outage, outage.firstFailedAt)) return [];
  const informed = without(informedOf(desk, card.id), informedOf(desk, causeId));
  const channels = takersOf(desk, dependent, 'down').filter((name) => informed.includes(name));
  if (channels.length === 0) return [];
  const cause = nameOf(desk, causeId);
  const summary = say({ kind: 'down-behind', name: dependent.name, cause });
  const telling = tellingOf(scene, dependent, { summary, outage, cause: causeId });
  const holdMs = desk.holdMs(dependent.id);
  const edits = added(written(desk, { telling, at: change.decidedAt, holdMs, channels }));
  const unheard = edits.map((edit) => ({ ...edit, ifUnheard: true }));
  return standing.unsteady ? unheard.map(ifNotKnown) : unheard;
}

/** That another service than the one that changed is down. */
function tellingOf(
  { desk, standingOf }: Scene,
  card: ServiceCard,
  given: Pick<Telling, 'summary' | 'cause'> & { readonly outage: Outage },
): Telling {
  const { outage } = given;
  const last = standingOf(card.id)?.last;
  return {
    ...given,
    card,
    state: 'down',
    previous: outage.lastGoodAt === null ? 'unobserved' : 'up',
    since: outage.firstFailedAt,
    observation: {
      at: last?.trouble ? last.at : outage.lastFailedAt,
      trouble: last?.trouble ?? outage.trouble,
    },
    affected: desk.affectedBy(card.id),
  };
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
