/** The outages of services and jobs that are seen to last: what is reminded of. */
import type { Standing } from './base/standing.ts';
import type { ServiceCard } from './base/values.ts';
import { reach } from './judge/causes.ts';
import type { Lasting } from './reminders.ts';
import { noticeData } from './tell/notice-data.ts';

export interface LastingGiven {
  readonly services: readonly { readonly card: ServiceCard; readonly urgent: boolean }[];
  readonly standingOf: (serviceId: string) => Standing;
  /** What was answered before this is of an earlier run, and may be over. */
  readonly since: number;
}

export function lastingOf({ services, standingOf, since }: LastingGiven): readonly Lasting[] {
  const needsOf = new Map(services.map(({ card }) => [card.id, card.needs]));
  const affectedBy = (id: string) =>
    services
      .filter(({ card }) => card.id !== id)
      .filter(({ card }) => reach(card.id, (at) => needsOf.get(at) ?? []).has(id))
      .map(({ card }) => card.id);
  return services.flatMap(({ card, urgent }): Lasting[] => {
    const { state, outage, last } = standingOf(card.id);
    if (state !== 'down' || !outage || !last) return [];
    // How a job stands follows from what it told, whenever that was.
    if (card.kind !== 'job' && last.at < since) return [];
    const trouble = last.trouble ?? outage.trouble;
    const dataWith = (summary: string) =>
      noticeData({
        summary,
        card,
        state: 'down',
        previous: 'down',
        since: outage.firstFailedAt,
        observation: { at: last.at, trouble },
        outage,
        cause: null,
        affected: affectedBy(card.id),
      });
    return [{ outage: { ...outage, trouble }, name: card.name, urgent, dataWith }];
  });
}
