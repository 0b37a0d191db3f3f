/** Spans read as time on a line: each observed stretch with what is uncertain about its ends, and the outage that it is part of. */
import type { Outage, Span, State } from '../base/values.ts';
import type { Interval } from './intervals.ts';

/**
 * A change of state. It happened after the last answer that showed the state before (`earliest`) and not later than the
 * first one that showed the new state (`latest`); where in between is unknown, and the error of the middle is the
 * smallest that can be promised (interval-censored data). Middles are rounded down to whole milliseconds at both ends
 * of a stretch, so that the rounding does not favour either state.
 */
export interface Edge {
  readonly earliest: number;
  readonly middle: number;
  readonly latest: number;
}

/** One span of a state that was observed. Stretches that follow each other meet at the same edge. */
export interface Stretch {
  readonly state: Exclude<State, 'unobserved'>;
  readonly begins: Edge;
  readonly ends: Edge;
  /** The outage that a `down` stretch is part of. One with unobserved time inside has several stretches. */
  readonly outage: Outage | null;
}

export interface Course {
  /** In order of time; one that lasts (`to` null) ends at `now`. */
  readonly spans: readonly Span[];
  /** Of the same service, in any order. */
  readonly outages: readonly Outage[];
  readonly now: number;
}

/** The observed stretches in order of time. What no stretch covers was unobserved. */
export function stretchesOf({ spans, outages, now }: Course): readonly Stretch[] {
  const inOrder = [...outages].sort((one, other) => one.firstFailedAt - other.firstFailedAt);
  return spans.flatMap((span, index): Stretch[] => {
    if (span.state === 'unobserved') return [];
    const outage = span.state === 'down' ? outageAt(inOrder, span.from) : null;
    const begins = edgeBetween(spans[index - 1], span) ?? certain(span.from);
    const ends =
      span.to === null
        ? openEnd(outage, now)
        : (edgeBetween(span, spans[index + 1]) ?? certain(span.to));
    return [{ state: span.state, begins, ends, outage }];
  });
}

/** The stretch from middle to middle: what is taken for the truth. */
export function estimated({ begins, ends }: Stretch): Interval {
  return { from: begins.middle, to: ends.middle };
}

/** All the time that the stretch may have lasted. */
export function longest({ begins, ends }: Stretch): Interval {
  return { from: begins.earliest, to: ends.latest };
}

/** The time that the stretch has lasted for certain: from the first to the last answer that showed its state. */
export function shortest({ begins, ends }: Stretch): Interval {
  return { from: begins.latest, to: ends.earliest };
}

/** The edge at which two observed spans meet; null beside time that nobody watched, where nothing is guessed. */
function edgeBetween(before: Span | undefined, after: Span | undefined): Edge | null {
  if (before === undefined || after === undefined || before.to !== after.from) return null;
  if (before.state === 'unobserved' || after.state === 'unobserved') return null;
  // An answer of the state before cannot be older than that state.
  const earliest = Math.min(Math.max(after.earliestFrom, before.from), after.from);
  return {
    earliest,
    middle: earliest + Math.floor((after.from - earliest) / 2),
    latest: after.from,
  };
}

/** What lasts goes on until now; but that an outage does is certain only up to its last failed answer. */
function openEnd(outage: Outage | null, now: number): Edge {
  return { earliest: outage?.lastFailedAt ?? now, middle: now, latest: now };
}

function certain(at: number): Edge {
  return { earliest: at, middle: at, latest: at };
}

/** The one that had begun last, by halving; null where that is over. Outages of one service do not overlap. */
function outageAt(inOrder: readonly Outage[], at: number): Outage | null {
  let low = 0;
  let high = inOrder.length;
  while (low < high) {
    const middle = (low + high) >>> 1;
    if ((inOrder[middle]?.firstFailedAt ?? at) > at) high = middle;
    else low = middle + 1;
  }
  const begun = inOrder[low - 1];
  return begun && (begun.restoredAt === null || at < begun.restoredAt) ? begun : null;
}
