/**
 * Causes: which service's outage explains another's, and whether a service can be seen at all.
 * Works on relations (`needs`, `through`) and on what is remembered; both come in as values.
 */
import { explains } from '../base/explains.ts';
import type { Outage } from '../base/values.ts';
import type { Memory } from './memory.ts';
import type { Sight } from './policy.ts';

export interface Relations {
  readonly needs: readonly string[];
  readonly through: readonly string[];
}

export interface House {
  readonly relationsOf: (id: string) => Relations | undefined;
  readonly memoryOf: (id: string) => Memory | undefined;
  /** When its last outage ended, as far as this process has seen it. */
  readonly backAt: (id: string) => number | undefined;
}

/** A failure: since when it fails, and when it was asked this time. */
export interface Failure {
  readonly firstAt: number;
  readonly at: number;
}

/**
 * Gateways at a failure: one that is down (or itself out of sight), or was when the service was asked and has come back
 * before the answer was known, hides what is behind it; one that was not asked since it fails, or failed and is being
 * asked again, or was down when it was last seen, leaves it open.
 */
export function sightOf(id: string, failure: Failure, house: House): Sight['gateways'] {
  let sight: Sight['gateways'] = 'clear';
  for (const gatewayId of house.relationsOf(id)?.through ?? []) {
    const gateway = house.memoryOf(gatewayId);
    if (!gateway) continue;
    if (gateway.state === 'down' || gateway.unobservedBy === 'gateway') return 'gone';
    if ((house.backAt(gatewayId) ?? failure.at) > failure.at) return 'gone';
    const isInDoubt = gateway.failedRun !== null || gateway.outage !== null;
    if (isInDoubt || (gateway.lastAt ?? 0) < failure.firstAt) sight = 'unsure';
  }
  return sight;
}

/**
 * The root among all that `id` needs, directly or not, whose outage explains a failure at `failedAt`:
 * down itself, with nothing down below it, and not seen good long after the failure. Of several the earliest.
 */
export function causeOf(id: string, failedAt: number, house: House): string | null {
  let cause: { id: string; firstFailedAt: number } | null = null;
  for (const neededId of reach(id, (at) => house.relationsOf(at)?.needs ?? [])) {
    const outage = downOutage(neededId, house);
    if (!outage || !explains(outage, failedAt) || hasDownNeed(neededId, house)) continue;
    if (!cause || outage.firstFailedAt < cause.firstFailedAt) {
      cause = { id: neededId, firstFailedAt: outage.firstFailedAt };
    }
  }
  return cause?.id ?? null;
}

/**
 * What explains a service that fails at `failedAt`. An open outage keeps its cause until that one's own outage is over,
 * also while nobody has seen either of them since.
 */
export function causeNow(
  id: string,
  { outage, failedAt }: { readonly outage: Outage | null; readonly failedAt: number },
  house: House,
): string | null {
  const held = outage?.causeId ?? null;
  const cause = held === null ? null : house.memoryOf(held)?.outage;
  if (outage && cause && explains(cause, outage.firstFailedAt)) return held;
  return causeOf(id, failedAt, house);
}

function hasDownNeed(id: string, house: House): boolean {
  for (const neededId of reach(id, (at) => house.relationsOf(at)?.needs ?? [])) {
    if (downOutage(neededId, house)) return true;
  }
  return false;
}

function downOutage(id: string, house: House): Outage | null {
  const memory = house.memoryOf(id);
  return memory?.state === 'down' ? memory.outage : null;
}

const nowhere: ReadonlySet<string> = new Set();

/** All that can be reached from `id` along `edges`, without `id` itself. Circles do no harm. */
export function reach(id: string, edges: (id: string) => readonly string[]): ReadonlySet<string> {
  const first = edges(id);
  if (first.length === 0) return nowhere;
  const seen = new Set<string>();
  const open = [...first];
  for (let at = open.pop(); at !== undefined; at = open.pop()) {
    if (at === id || seen.has(at)) continue;
    seen.add(at);
    open.push(...edges(at));
  }
  return seen;
}

/**
 * The other way round, when `causeId` has just been confirmed down: the open outages that it explains,
 * with their cause put right. `dependents` are the ids that need it, directly or not.
 */
export function explained(dependents: Iterable<string>, house: House): readonly Outage[] {
  const moved: Outage[] = [];
  for (const id of dependents) {
    const outage = downOutage(id, house);
    if (!outage) continue;
    const causeId = causeOf(id, outage.firstFailedAt, house);
    if (causeId !== null && causeId !== outage.causeId) moved.push({ ...outage, causeId });
  }
  return moved;
}

/** With what else a service in doubt is asked at once: what it needs and what it is seen through. */
export function askedAlong(relations: Relations): readonly string[] {
  return [...new Set([...relations.needs, ...relations.through])];
}
