/**
 * How decoders answer. A decoder is a pure function over the bytes that have arrived so far, from the start of what
 * nobody has taken yet: it needs more, has a value (and says how many bytes it took), or sees that they are broken.
 * It never throws, allocates nothing by a length that a peer claims, and works the same however the bytes were split.
 */
import type { Trouble } from '../base/values.ts';

export type Decoded<T> =
  | { readonly state: 'need-more' }
  | { readonly state: 'value'; readonly value: T; readonly usedBytes: number }
  | { readonly state: 'malformed'; readonly why: string };

export type Decoder<T> = (bytes: Buffer) => Decoded<T>;

export const needMore = { state: 'need-more' } as const satisfies Decoded<never>;

export function decoded<T>(value: T, usedBytes: number): Decoded<T> {
  return { state: 'value', value, usedBytes };
}

/** `why` is our own sentence fragment: "its length field says 3". */
export function malformed(why: string): Decoded<never> {
  return { state: 'malformed', why };
}

/** One step of an exchange: it worked, or there is trouble. */
export type Step<T> =
  | { readonly ok: true; readonly value: T }
  | { readonly ok: false; readonly trouble: Trouble };

export function done<T>(value: T): Step<T> {
  return { ok: true, value };
}

export function stuck(found: Trouble): Step<never> {
  return { ok: false, trouble: found };
}
