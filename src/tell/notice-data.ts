/** The `data` of an event about a service, exactly as promised (interface §5): instants are RFC 3339 text, ids are ids. */
import { instantText } from '../base/instants.ts';
import type { Outage, ServiceCard, State, Trouble } from '../base/values.ts';
import type { NoticeData } from '../record/record.ts';

export interface Telling {
  readonly summary: string;
  readonly card: ServiceCard;
  readonly state: State;
  readonly previous: State;
  readonly since: number;
  readonly observation: { readonly at: number; readonly trouble: Trouble | null };
  readonly outage: Outage | null;
  /** Id of the service whose outage explains this one. */
  readonly cause: string | null;
  /** Ids of the services that need it, directly or not. */
  readonly affected: readonly string[];
}

export function noticeData(telling: Telling): NoticeData {
  const { card, observation, outage } = telling;
  const { trouble } = observation;
  return {
    summary: telling.summary,
    service: {
      id: card.id,
      name: card.name,
      group: card.group,
      open: card.open,
      note: card.note,
    },
    state: telling.state,
    previous: telling.previous,
    since: instantText(telling.since),
    observation: {
      at: instantText(observation.at),
      layer: trouble?.layer ?? null,
      reason: trouble?.reason ?? null,
      detail: trouble?.detail ?? null,
      hint: trouble?.hint ?? null,
    },
    outage: outage && {
      id: outage.id,
      lastGoodAt: textOrNull(outage.lastGoodAt),
      firstFailedAt: instantText(outage.firstFailedAt),
      confirmedAt: instantText(outage.confirmedAt),
      restoredAt: textOrNull(outage.restoredAt),
    },
    cause: telling.cause,
    affected: telling.affected,
  };
}

function textOrNull(at: number | null): string | null {
  return at === null ? null : instantText(at);
}
