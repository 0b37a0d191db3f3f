/** Courses of events for tests, written as people tell them: `up 0 | down 100<90 | up 160<150`, in seconds. */

import type { Outage, Span, State, UnconfirmedFailure } from '../../src/base/values.ts';
import type { History } from '../../src/uptime/evidence.ts';

/** Seconds, as in the texts. */
interface Around {
  /** [from, to] */
  readonly window: readonly [number, number];
  /** Default: the end of the window. */
  readonly now?: number;
  readonly planned?: readonly (readonly [number, number])[];
  /** [last good or null, first failed, last failed, next good] */
  readonly unconfirmed?: readonly (readonly [number | null, number, number, number])[];
  /** Of the outage that lasts; default: now. */
  readonly lastFailed?: number;
}

/**
 * Spans and their outages. Each entry is a state and when it was first seen (`from`), with `<` when the state before was
 * last seen, and with `@` the cause of an outage: `down@nas 100<90`. `end 500` ends the last span. Outages are
 * confirmed 5 s after the first failure; unobserved time does not end them.
 */
export function history(text: string, around: Around): History {
  const now = 1_000 * (around.now ?? around.window[1]);
  const entries = text.split('|').map((entry) => parse(entry.trim()));
  const spans = entries.flatMap(({ state, from, earliestFrom }, index): Span[] => {
    const to = entries[index + 1]?.from ?? null;
    return state === 'end' ? [] : [{ state, from, earliestFrom, to }];
  });
  return {
    spans,
    outages: outagesOf(
      spans,
      entries.map(({ causeId }) => causeId),
      around.lastFailed === undefined ? now : 1_000 * around.lastFailed,
    ),
    now,
    window: range(around.window),
    planned: (around.planned ?? []).map(range),
    unconfirmed: (around.unconfirmed ?? []).map(
      ([lastGood, firstFailed, lastFailed, nextGood]): UnconfirmedFailure => ({
        serviceId: 'order-book',
        lastGoodAt: lastGood === null ? null : 1_000 * lastGood,
        firstFailedAt: 1_000 * firstFailed,
        lastFailedAt: 1_000 * lastFailed,
        nextGoodAt: 1_000 * nextGood,
      }),
    ),
  };
}

/** The outages that these spans tell of. */
export function outagesOf(
  spans: readonly Span[],
  causeIds: readonly (string | null)[],
  lastFailedAt: number,
): readonly Outage[] {
  const outages: Outage[] = [];
  let open: Outage | null = null;
  for (const [index, span] of spans.entries()) {
    if (span.state === 'down') {
      open ??= begun(span, causeIds[index] ?? null);
      const next = spans[index + 1];
      open = { ...open, lastFailedAt: next?.earliestFrom ?? span.to ?? lastFailedAt };
    } else if (open !== null && span.state !== 'unobserved') {
      outages.push({ ...open, restoredAt: span.from });
      open = null;
    }
  }
  return open === null ? outages : [...outages, open];
}

function begun(span: Span, causeId: string | null): Outage {
  return {
    id: `order-book.${span.from}`,
    serviceId: 'order-book',
    lastGoodAt: span.earliestFrom,
    firstFailedAt: span.from,
    confirmedAt: span.from + 5_000,
    lastFailedAt: span.from,
    restoredAt: null,
    trouble: { layer: 'port', reason: 'refused', detail: 'refused', hint: 'look' },
    causeId,
  };
}

function parse(entry: string) {
  const match = /^(up|degraded|down|unobserved|end)(?:@([\w-]+))? ([\d.]+)(?:<([\d.]+))?$/.exec(
    entry,
  );
  if (match === null) throw new Error(`not an entry of a course: ${entry}`);
  const [, state, causeId, from, earliestFrom] = match;
  return {
    state: state as State | 'end',
    causeId: causeId ?? null,
    from: Math.round(1_000 * Number(from)),
    earliestFrom: Math.round(1_000 * Number(earliestFrom ?? from)),
  };
}

function range([from, to]: readonly [number, number]) {
  return { from: 1_000 * from, to: 1_000 * to };
}
