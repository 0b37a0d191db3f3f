/**
 * So many in so long a time, for each key and for all together. Of our own, as @fastify/rate-limit counts requests: what
 * is counted here are attempts, one is given back when it was a good one, and what was refused is not counted on, so that
 * the memory of it is bounded by what is allowed.
 */
import { isIPv6 } from 'node:net';
import type { Clock } from '../base/clock.ts';

export interface LimiterGiven {
  readonly clock: Clock;
  readonly windowMs: number;
  readonly eachCountMax: number;
  readonly allCountMax: number;
}

export interface Limiter {
  /** Counts one; null: go on. Else milliseconds until another is allowed, and it is not counted. */
  take(key: string): number | null;
  /** It was a good one: all of this key are forgotten, and from now on others do not keep it out. */
  forgive(key: string): void;
}

/** So many are remembered as good. */
const knownCountMax = 20;

export function limiterOf({ clock, windowMs, eachCountMax, allCountMax }: LimiterGiven): Limiter {
  /** In order of time; at most `allCountMax`, and those of the known beyond. */
  let taken: readonly { readonly key: string; readonly atMs: number }[] = [];
  /** Whoever made a good one lately. */
  let known: readonly string[] = [];
  return {
    take: (key) => {
      const nowMs = clock.monotonicMs();
      taken = taken.filter(({ atMs }) => nowMs - atMs < windowMs);
      const own = taken.filter((one) => one.key === key);
      const first =
        own.length >= eachCountMax
          ? own[0]
          : taken.length >= allCountMax && !known.includes(key)
            ? taken[0]
            : undefined;
      if (first) return first.atMs + windowMs - nowMs;
      taken = [...taken, { key, atMs: nowMs }];
      return null;
    },
    forgive: (key) => {
      taken = taken.filter((one) => one.key !== key);
      known = [...known.filter((one) => one !== key), key].slice(-knownCountMax);
    },
  };
}

/** Whoever has one address of an IPv6 network has 2^64 of them (RFC 4291 §2.5.4). */
export function networkOf(address: string): string {
  const mapped = /^::ffff:(\d+\.\d+\.\d+\.\d+)$/i.exec(address)?.[1];
  if (mapped !== undefined) return mapped;
  if (!isIPv6(address)) return address;
  const [head = '', tail] = address.replace(/%.*$/, '').split('::');
  const before = head === '' ? [] : head.split(':');
  const after = tail === undefined || tail === '' ? [] : tail.split(':');
  const zeros = tail === undefined ? 0 : Math.max(0, 8 - before.length - after.length);
  const groups = [...before, ...Array<string>(zeros).fill('0'), ...after];
  return `${groups
    .slice(0, 4)
    .map((group) => Number.parseInt(group, 16).toString(16))
    .join(':')}::/64`;
}
