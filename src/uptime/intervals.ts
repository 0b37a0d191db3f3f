/** Arithmetic of half-open intervals of time [from, to), in milliseconds. Everything that uptime counts is counted here. */

export interface Interval {
  readonly from: number;
  readonly to: number;
}

/**
 * Intervals in order of time, none empty, none overlapping or touching the next: there is one way only to write a set.
 * `union` makes one of any intervals; the other functions expect sets and give sets.
 */
export type IntervalSet = readonly Interval[];

/** The set of all instants that lie in any of the intervals, which may overlap, be empty or stand in any order. */
export function union(intervals: readonly Interval[]): IntervalSet {
  const ordered = intervals.filter(({ from, to }) => from < to).sort((a, b) => a.from - b.from);
  const merged: Interval[] = [];
  for (const next of ordered) {
    const last = merged.at(-1);
    if (last === undefined || last.to < next.from) merged.push(next);
    else if (last.to < next.to) merged[merged.length - 1] = { from: last.from, to: next.to };
  }
  return merged;
}

/** The instants that lie in both sets. */
export function intersect(a: IntervalSet, b: IntervalSet): IntervalSet {
  const common: Interval[] = [];
  let atA = 0;
  let atB = 0;
  for (;;) {
    const inA = a[atA];
    const inB = b[atB];
    if (inA === undefined || inB === undefined) return common;
    const from = Math.max(inA.from, inB.from);
    const to = Math.min(inA.to, inB.to);
    if (from < to) common.push({ from, to });
    if (inA.to < inB.to) atA += 1;
    else atB += 1;
  }
}

/** The instants of `a` that do not lie in `b`. */
export function subtract(a: IntervalSet, b: IntervalSet): IntervalSet {
  const [first, last] = [a[0], a.at(-1)];
  if (first === undefined || last === undefined) return [];
  const within = clip(b, { from: first.from, to: last.to });
  return within.length === 0 ? a : intersect(a, complement(within));
}

/** The instants of the set that lie in the window. Looks at those alone, however long the set is. */
export function clip(set: IntervalSet, window: Interval): IntervalSet {
  const clipped: Interval[] = [];
  for (let at = firstEndingAfter(set, window.from); at < set.length; at += 1) {
    const interval = set[at];
    if (interval === undefined || interval.from >= window.to) break;
    const from = Math.max(interval.from, window.from);
    const to = Math.min(interval.to, window.to);
    if (from < to) clipped.push({ from, to });
  }
  return clipped;
}

/** How long all of it lasts. */
export function totalMs(set: IntervalSet): number {
  return set.reduce((sum, { from, to }) => sum + (to - from), 0);
}

/** By halving. */
function firstEndingAfter(set: IntervalSet, at: number): number {
  let low = 0;
  let high = set.length;
  while (low < high) {
    const middle = (low + high) >>> 1;
    if ((set[middle]?.to ?? at) > at) high = middle;
    else low = middle + 1;
  }
  return low;
}

function complement(set: IntervalSet): IntervalSet {
  const between: Interval[] = [];
  let from = Number.NEGATIVE_INFINITY;
  for (const interval of set) {
    if (from < interval.from) between.push({ from, to: interval.from });
    from = interval.to;
  }
  return [...between, { from, to: Number.POSITIVE_INFINITY }];
}
