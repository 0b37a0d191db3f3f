/** From the house's values to the API's: instants become text, the rest keeps its name. */
import { eventType } from '../base/event-type.ts';
import { instantText } from '../base/instants.ts';
import type { Observation, Outage, ServiceCard } from '../base/values.ts';
import type { DeliveryReport, OwnerNote } from '../record/record.ts';
import { availabilityJson, budgetJson } from '../report/json.ts';
import type { Availability } from '../uptime/availability.ts';
import { budgetOf } from '../uptime/budget.ts';
import { type Asking, surelySeenMs } from '../uptime/missed.ts';
import type { Board } from './board.ts';
import type { AvailabilityBody } from './figure-schemas.ts';
import type { ObservationBody, OutageBody, OutageInFullBody, ServiceBody } from './schemas.ts';

export async function serviceBody(board: Board, card: ServiceCard): Promise<ServiceBody> {
  const { state, since, suspect, unsteady, causeId, last } = board.standingOf(card.id);
  const days30 = await board.figures.days30(card.id);
  return {
    id: card.id,
    name: card.name,
    group: card.group,
    kind: card.kind,
    open: card.open,
    needs: [...card.needs],
    through: [...card.through],
    state,
    since: textOrNull(since),
    planned: board.plannedUntil(card.id) !== null,
    suspect,
    unsteady,
    cause: causeId,
    last: last && observationBody(last),
    days30: {
      estimate: days30.estimate,
      low: days30.low,
      high: days30.high,
      outages: days30.outages,
      mttrMs: days30.mttrMs,
      mtbfMs: days30.mtbfMs,
      unobservedMs: days30.unobservedMs,
    },
  };
}

export function observationBody({
  at,
  outcome,
  tookUs,
  trouble,
  facts,
}: Observation): ObservationBody {
  return {
    at: instantText(at),
    outcome,
    tookUs,
    layer: trouble?.layer ?? null,
    reason: trouble?.reason ?? null,
    detail: trouble?.detail ?? null,
    hint: trouble?.hint ?? null,
    facts: { ...facts },
  };
}

/** Of a service: its objective and how it is asked stand in the card and beside it. */
export function availabilityBody(
  found: Availability,
  { objective }: Pick<ServiceCard, 'objective'>,
  asking: Asking,
): AvailabilityBody {
  const budget = objective === null ? null : budgetOf(found, objective);
  return {
    ...availabilityJson(found),
    surelySeenMs: surelySeenMs(asking),
    budget: budget && budgetJson(budget),
  };
}

export function outageBody(outage: Outage): OutageBody {
  const { layer, reason, detail, hint } = outage.trouble;
  return {
    id: outage.id,
    service: outage.serviceId,
    lastGoodAt: textOrNull(outage.lastGoodAt),
    firstFailedAt: instantText(outage.firstFailedAt),
    confirmedAt: instantText(outage.confirmedAt),
    lastFailedAt: instantText(outage.lastFailedAt),
    restoredAt: textOrNull(outage.restoredAt),
    ...{ layer, reason, detail, hint },
    cause: outage.causeId,
  };
}

interface OutageExtras {
  readonly reports: readonly DeliveryReport[];
  readonly notes: readonly OwnerNote[];
  readonly knownAt: number | null;
}

export function outageInFullBody(
  outage: Outage,
  observations: readonly Observation[],
  { reports, notes, knownAt }: OutageExtras,
): OutageInFullBody {
  return {
    ...outageBody(outage),
    observations: observations.map(observationBody),
    knownAt: textOrNull(knownAt),
    notices: reports.map(({ notice, channel, state, foldedInto, fallbackFor, attempts }) => ({
      id: notice.id,
      type: eventType(notice.type, notice.data),
      at: instantText(notice.at),
      summary: notice.data.summary,
      channel,
      state,
      foldedInto,
      fallbackFor,
      attempts: attempts.map(({ at, tookMs, status, detail }) => ({
        at: instantText(at),
        tookMs: Math.round(tookMs),
        status,
        detail,
      })),
    })),
    notes: notes.map(({ at, text }) => ({ at: instantText(at), text })),
  };
}

function textOrNull(at: number | null): string | null {
  return at === null ? null : instantText(at);
}
