/** Reads from the record what the figures of one service over one window need: all that touches it, and what decides its edges. */
import { askingPauseMsMax } from '../base/limits.ts';
import { isOf } from '../base/planned-time.ts';
import type { Outage, Span } from '../base/values.ts';
import type { History } from '../uptime/evidence.ts';
import type { Range, Record } from './record.ts';

/** The part of the record that figures are made of. */
export type HistoryRecord = Pick<Record, 'spans' | 'outages' | 'unconfirmed' | 'planned'>;

export interface HistoryAsked {
  readonly serviceId: string;
  readonly window: Range;
  readonly now: number;
  /** The open outage as the judge holds it: the record has it as it was when it was confirmed. */
  readonly open: Outage | null;
  /** Nobody has watched from here on; null: somebody does. */
  readonly watchedUntil: number | null;
}

export async function readHistory(record: HistoryRecord, asked: HistoryAsked): Promise<History> {
  const { serviceId, window, now, open } = asked;
  // The beginning of what follows the window may lie in it: after the last answer that it leaves behind.
  const until = window.to + askingPauseMsMax;
  const range = { from: window.from, to: until };
  const outages = await record.outages(serviceId, range);
  // From the span before the first of them, so that each is whole.
  const begins = outages.map(({ firstFailedAt }) => firstFailedAt - 1);
  const from = Math.min(window.from, ...begins.filter((at) => at < window.from));
  const [spans, unconfirmed, planned] = await Promise.all([
    record.spans(serviceId, { from, to: until }),
    record.unconfirmed(serviceId, range),
    record.planned({ from, to: until }),
  ]);
  return {
    spans: asked.watchedUntil === null ? spans : endedAt(asked.watchedUntil, spans),
    outages: open ? outages.map((outage) => (outage.id === open.id ? open : outage)) : outages,
    unconfirmed,
    planned: planned.filter((one) => isOf(one, serviceId)),
    window,
    now,
  };
}

/** What lasts ended with the watch; how it went on is not known. */
function endedAt(at: number, spans: readonly Span[]): readonly Span[] {
  const last = spans.at(-1);
  if (last === undefined || last.to !== null) return spans;
  const end = Math.max(at, last.from);
  const unobserved: Span = { state: 'unobserved', from: end, earliestFrom: end, to: null };
  return [...spans.slice(0, -1), { ...last, to: end }, unobserved];
}
