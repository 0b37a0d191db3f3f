/** Reads from the record what the report of a month, or of another time, is made of. */

import { othersFirst } from '../base/turns.ts';
import type { Outage, ServiceCard } from '../base/values.ts';
import { type HistoryRecord, readHistory } from '../record/history.ts';
import type { Record } from '../record/record.ts';
import { isMonth, monthAt, monthIn } from '../uptime/calendar.ts';
import type { Interval } from '../uptime/intervals.ts';
import type { Asking } from '../uptime/missed.ts';
import { gatherJobs } from './jobs.ts';
import { burnMsMax, type GivenService, type MonthReport, monthReport } from './month.ts';

export interface ReportSource {
  readonly record: HistoryRecord & Pick<Record, 'runs'>;
  readonly title: string;
  readonly zone: string;
  readonly now: number;
  /** In the order of the roll. */
  readonly services: readonly { readonly card: ServiceCard; readonly asking: Asking }[];
  /** The open outage of a service as the judge holds it. */
  readonly openOf: (serviceId: string) => Outage | null;
  /** Nobody has watched from here on; null: somebody does. */
  readonly watchedUntil: number | null;
}

/** What is wrong with a month that somebody asked for (`2026-11`; null: the current one), for people; or the month. */
export function monthAsked(
  text: string | null,
  { zone, now }: Pick<ReportSource, 'zone' | 'now'>,
): { readonly month: string } | { readonly complaint: string } {
  const current = monthAt(now, zone);
  if (text === null) return { month: current };
  if (!isMonth(text)) {
    return { complaint: `expected a month such as ${current}, not ${JSON.stringify(text)}` };
  }
  if (text > current) return { complaint: `${text} has not begun yet` };
  return { month: text };
}

/** `month` as `monthAsked` gives it. */
export async function gatherReport(source: ReportSource, month: string): Promise<MonthReport> {
  const { title, zone, now } = source;
  const { from, to } = monthIn(month, zone);
  const window = { from: now < to ? Math.min(from, now - burnMsMax) : from, to };
  const [services, jobs] = [
    await gatherServices(source, window),
    await gatherJobs(
      source.record,
      source.services.map(({ card }) => card),
      { from, to },
    ),
  ];
  return monthReport({ title, month, zone, now, services, jobs });
}

/** What the record has of this time, of every service. */
export async function gatherServices(
  source: ReportSource,
  window: Interval,
): Promise<readonly GivenService[]> {
  const { record, now, openOf, watchedUntil } = source;
  const services: GivenService[] = [];
  for (const { card, asking } of source.services) {
    const asked = { serviceId: card.id, window, now, open: openOf(card.id), watchedUntil };
    services.push({ card, asking, history: await readHistory(record, asked) });
    // Thousands of services are a second's work, and somebody waits to be asked meanwhile.
    await othersFirst();
  }
  return services;
}
