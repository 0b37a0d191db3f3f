/**
 * What is told of a service that changes too often: once that it is unsteady, in place of the change that made it so;
 * then no single change; and once how it stands when it is steady again. Pure, and without memory: which channel knows
 * that it is unsteady is left to the record (`unsteadyKnown`). One that does not know, because it was held back, folded
 * or not there, is told at the next setback: nothing is silenced for somebody who was not told that it would be.
 */
import type { Unsteadiness } from '../judge/memory.ts';
import type { NoticeEdit } from '../record/record.ts';
import {
  explainedOutage,
  nameOf,
  namesOf,
  noticeOf,
  type Scene,
  silentForMs,
  takersOf,
} from './desk.ts';
import { say } from './sentences.ts';

/** What is told of the service itself, given what would be told of it if it were steady. */
export function unsteadily(scene: Scene, own: readonly NoticeEdit[]): readonly NoticeEdit[] {
  const { unsteadiness } = scene.change;
  if (!unsteadiness) return own;
  if (unsteadiness.phase === 'ended') {
    return [...own.map(ifNotKnown), ...becameSteady(scene, unsteadiness)];
  }
  if (isSetback(scene, unsteadiness)) return becameUnsteady(scene, unsteadiness);
  // Who does not hear of outages is never told that it is unsteady, and hears of single changes when it is steady.
  const heeding = takersOf(scene.desk, scene.card, 'down');
  return own.map((edit) => ifNotKnown(onlyOn(heeding, edit)));
}

/** This change is the latest of its setbacks. */
function isSetback({ change }: Scene, { setbacks }: Unsteadiness): boolean {
  return setbacks.at(-1)?.at === change.decidedAt;
}

/** Where it is known that the service is unsteady, single changes are held back. */
export function ifNotKnown(edit: NoticeEdit): NoticeEdit {
  return edit.kind === 'add' || edit.kind === 'restore' ? { ...edit, unsteadyKnown: false } : edit;
}

function onlyOn(names: readonly string[], edit: NoticeEdit): NoticeEdit {
  if (edit.kind !== 'add' && edit.kind !== 'restore') return edit;
  const channels = edit.notice.channels.filter((name) => names.includes(name));
  return { ...edit, notice: { ...edit.notice, channels } };
}

function becameUnsteady(scene: Scene, unsteadiness: Unsteadiness): readonly NoticeEdit[] {
  const { desk, card, change } = scene;
  const channels = takersOf(desk, card, 'down');
  if (channels.length === 0) return [];
  const affected = desk.affectedBy(card.id);
  const summary = say({
    kind: 'unsteady',
    name: card.name,
    count: unsteadiness.setbacks.length,
    withinMs: withinMs(unsteadiness, change.decidedAt),
    areOutages: unsteadiness.setbacks.every(({ to }) => to === 'down'),
    state: change.to,
    trouble: change.observation.trouble,
    silentForMs: change.to === 'down' ? silentForMs(change) : null,
    affected: change.to === 'down' ? namesOf(desk, affected) : [],
  });
  const isHeld = change.to === 'down' && card.needs.length > 0;
  const notice = noticeOf(scene, {
    type: 'unsteady',
    summary,
    channels,
    holdMs: isHeld ? desk.holdMs(card.id) : 0,
    unsteady: said(unsteadiness, change.decidedAt),
  });
  const add = { kind: 'add', notice, unsteadyKnown: false } as const;
  const serviceIds = affected.filter((id) => explainedOutage(scene, id, change.outage));
  // Into this one, or where it was known before into the one by which it was.
  const fold = { kind: 'fold', serviceIds, into: { unsteady: card.id } } as const;
  return change.to === 'down' && serviceIds.length > 0 ? [add, fold] : [add];
}

/** Who was told that it is unsteady is told how it stands. */
function becameSteady(scene: Scene, unsteadiness: Unsteadiness): readonly NoticeEdit[] {
  const { desk, card, change } = scene;
  const channels = takersOf(desk, card, 'down');
  if (channels.length === 0) return [];
  const isDown = change.to === 'down';
  // One that it was told of by this has its end told, also where nobody can tell by now whether it lasts.
  const isOpen = change.outage !== null && change.outage.restoredAt === null;
  const outage = isOpen ? change.outage : (scene.standingOf(card.id)?.outage ?? null);
  const affected = isDown ? desk.affectedBy(card.id) : [];
  const causeId = isDown ? (outage?.causeId ?? null) : null;
  const summary = say({
    kind: 'steady',
    name: card.name,
    state: change.to,
    forMs: Math.max(change.decidedAt - change.since, 0),
    trouble: change.observation.trouble ?? outage?.trouble ?? null,
    cause: causeId === null ? null : nameOf(desk, causeId),
    affected: namesOf(desk, affected),
  });
  const notice = noticeOf(scene, {
    type: 'steady',
    summary,
    channels,
    outage,
    ...(causeId === null ? {} : { cause: causeId }),
    unsteady: said(unsteadiness, change.decidedAt),
  });
  const serviceIds = affected.filter((id) => explainedOutage(scene, id, outage));
  const add = { kind: 'add', notice, unsteadyKnown: true } as const;
  const fold = { kind: 'fold', serviceIds, into: notice.id } as const;
  return serviceIds.length > 0 ? [add, fold] : [add];
}

/** From the first of its late setbacks until now. */
function withinMs({ setbacks }: Unsteadiness, now: number): number {
  return Math.max(now - (setbacks[0]?.at ?? now), 0);
}

function said(unsteadiness: Unsteadiness, now: number) {
  const { since, setbacks } = unsteadiness;
  return { since, setbacksCount: setbacks.length, withinMs: withinMs(unsteadiness, now) };
}
