/** Ids: slugs from names, and the ids of outages and notices. */
import { createHash } from 'node:crypto';

/** `Order book` → `order-book`; letters of other alphabets stay; empty when nothing is left. */
export function slug(name: string): string {
  return name
    .normalize('NFKD')
    .replace(/\p{M}/gu, '')
    .toLowerCase()
    .replace(/[^\p{L}\p{N}]+/gu, '-')
    .replace(/^-+|-+$/g, '')
    .slice(0, 64)
    .replace(/-+$/, '');
}

/** Stable over restarts and replays: the same outage always gets the same id. */
export function outageId(serviceId: string, firstFailedAt: number): string {
  return `${serviceId}.${firstFailedAt.toString(36)}`;
}

/** A number in [0, 1) that depends on the text alone. For phases that stay the same over restarts. */
export function fractionOf(text: string): number {
  return createHash('sha256').update(text).digest().readUInt32BE(0) / 2 ** 32;
}
