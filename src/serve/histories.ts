/** What the record has of the last thirty days of each service: read again only when something of it may have changed. */
import { chartsKeptCountMax } from '../base/limits.ts';
import type { Outage } from '../base/values.ts';
import { readHistory } from '../record/history.ts';
import type { Record as Memoir, Range } from '../record/record.ts';
import type { History } from '../uptime/evidence.ts';

interface HistoryAsked {
  /** Ends now. */
  readonly window: Range;
  /** As the judge holds it. */
  readonly open: Outage | null;
}

interface Known {
  readonly revision: number;
  readonly history: Promise<History>;
  readonly from: number;
}

export function keptHistories(
  record: Memoir,
): (serviceId: string, asked: HistoryAsked) => Promise<History> {
  const histories = new Map<string, Known>();
  const read = (serviceId: string, { window, open }: HistoryAsked): Known => {
    const history = readHistory(record, {
      serviceId,
      window,
      now: window.to,
      open,
      watchedUntil: null,
    });
    const known = { revision: record.revision(), history, from: window.from };
    histories.delete(serviceId);
    histories.set(serviceId, known);
    // Whoever waits for it hears of the failure.
    history.catch(() => histories.delete(serviceId));
    const [oldest] = histories.keys();
    if (histories.size > chartsKeptCountMax && oldest !== undefined) histories.delete(oldest);
    return known;
  };
  return async (serviceId, asked) => {
    const { window, open } = asked;
    const known = histories.get(serviceId);
    // A clock that was set back asks for more than was read. What lies before the window does no harm.
    const isSame = known && known.revision === record.revision() && known.from <= window.from;
    const history = await (isSame ? known : read(serviceId, asked)).history;
    const outages = history.outages.map((outage) => (outage.id === open?.id ? open : outage));
    return { ...history, outages, window, now: window.to };
  };
}
