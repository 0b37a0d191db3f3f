/** UTC days, counted from the epoch: what is sealed is sealed by day. */
import type { Range } from '../record.ts';

export const dayMs = 86_400_000;

export function dayOf(at: number): number {
  return Math.floor(at / dayMs);
}

export function rangeOfDay(day: number): Range {
  return { from: day * dayMs, to: (day + 1) * dayMs };
}

/** The days that the range touches; infinite where the range is. */
export function daysWithin({ from, to }: Range): { readonly first: number; readonly last: number } {
  return { first: dayOf(from), last: Math.ceil(to / dayMs) - 1 };
}

export function common(one: Range, other: Range): Range {
  return { from: Math.max(one.from, other.from), to: Math.min(one.to, other.to) };
}
