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
  /** Of a job: its last run. */
  readonly job?: JobData;
  /** Where it is told that it is unsteady, or no more: since when, and how many setbacks there were of late. */
  readonly unsteady?: {
    readonly since: number;
    readonly setbacksCount: number;
    readonly withinMs: number;
  };
}

/** What a notice tells of the run of a job that ended last. */
export interface JobData {
  /** Null: none ever ended. */
  readonly run: {
    readonly id: string;
    readonly beganAt: number | null;
    readonly endedAt: number | null;
    readonly exit: number | null;
    readonly value: number | null;
    readonly unit: string | null;
    /** The last lines that it wrote. */
    readonly output: string | null;
  } | null;
}

export function noticeData(telling: Telling): NoticeData {
  const { card, observation, outage, unsteady } = telling;
  const { trouble } = observation;
  return {
    summary: telling.summary,
    service: serviceData(card),
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
    ...(telling.job && { job: jobData(telling.job) }),
    ...(unsteady && { unsteady: { ...unsteady, since: instantText(unsteady.since) } }),
  };
}

/** What every event about one service says of it. */
export function serviceData({ id, name, group, open, note }: ServiceCard) {
  return { id, name, group, open, note };
}

function jobData({ run }: JobData) {
  if (run === null) return { run };
  return { run: { ...run, beganAt: textOrNull(run.beganAt), endedAt: textOrNull(run.endedAt) } };
}

function textOrNull(at: number | null): string | null {
  return at === null ? null : instantText(at);
}
