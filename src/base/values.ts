/**
 * The vocabulary: what an observation is, what a state is, what an outage is.
 * Everyone imports these; they carry no behaviour.
 *
 * Instants are integer milliseconds since the epoch, UTC (`at`, `since`, `…At`).
 * Durations are milliseconds (`…Ms`); latencies are integer microseconds (`…Us`).
 */
import type { Layer, Reason } from './reasons.ts';

/** Would an ordinary client be served now? `unproven`: it cannot be told (silence that decides nothing). */
export const outcomes = ['answered', 'limited', 'failed', 'unproven'] as const;
export type Outcome = (typeof outcomes)[number];

/** What the record says of a service between two instants. `planned` lies over a state, it is not one. */
export const states = ['up', 'degraded', 'down', 'unobserved'] as const;
export type State = (typeof states)[number];

/** What a channel may be told: the beginning of a state (of a service or a job), and what else is told of one. */
export const changes = [...states, 'certificate', 'budget', 'planned', 'facts'] as const;
export type ChangeWord = (typeof changes)[number];

/** How long each part of an exchange took, in microseconds. A phase that did not happen is absent. */
export interface Phases {
  readonly resolveUs?: number;
  readonly connectUs?: number;
  readonly secureUs?: number;
  readonly speakUs?: number;
  readonly answerUs?: number;
}

/** What a peer told about itself (version, role, certificate end …). Text is already bounded and stripped. */
export type Facts = Readonly<Record<string, string | number | boolean>>;

/** What was wrong: the layer that failed, the reason within it, and what was seen. */
export interface Trouble {
  readonly layer: Layer;
  readonly reason: Reason;
  /** One sentence for a person: what happened, with the values seen. Never holds a secret. */
  readonly detail: string;
  /** Where to look, one sentence. */
  readonly hint: string;
}

/** The record of one probe at one instant. `trouble` is null exactly when the outcome is `answered`. */
export interface Observation {
  /** Wall clock at the start of the exchange. */
  readonly at: number;
  readonly outcome: Outcome;
  /** Duration of the whole exchange, monotonic. */
  readonly tookUs: number;
  readonly phases: Phases;
  readonly trouble: Trouble | null;
  readonly facts: Facts;
}

/**
 * A maximal interval [from, to) in one state; `to` is null while it lasts.
 * The true change lies in (earliestFrom, from]: the last answer that still showed the state before,
 * and the first that showed this one. Equal where nothing is uncertain (after unobserved time).
 */
export interface Span {
  readonly state: State;
  readonly from: number;
  readonly earliestFrom: number;
  readonly to: number | null;
}

/**
 * A confirmed stay in `down`. It began in (lastGoodAt, firstFailedAt] and ended in (lastFailedAt, restoredAt].
 * `lastGoodAt` is null when the service was never seen to answer before; `restoredAt` while it lasts.
 */
export interface Outage {
  /** Stable: made of the service's id and the first failed instant. */
  readonly id: string;
  readonly serviceId: string;
  readonly lastGoodAt: number | null;
  readonly firstFailedAt: number;
  readonly confirmedAt: number;
  readonly lastFailedAt: number;
  readonly restoredAt: number | null;
  /** The trouble of the observation that confirmed it. */
  readonly trouble: Trouble;
  /** Id of the needed service whose own outage explains this one; null: its own. */
  readonly causeId: string | null;
}

/** Failures in a row that ended before they were confirmed: no outage, but they widen the lower bound. */
export interface UnconfirmedFailure {
  readonly serviceId: string;
  /** Null: it had never answered before. */
  readonly lastGoodAt: number | null;
  readonly firstFailedAt: number;
  readonly lastFailedAt: number;
  readonly nextGoodAt: number;
}

/** Time announced in advance, or declared on the spot, in [from, to): what happens to its services in it was meant to. */
export interface PlannedWindow {
  /** Stable: where a schedule makes it, of the name and the instant; else a UUID. */
  readonly id: string;
  readonly name: string;
  readonly why: string | null;
  readonly from: number;
  readonly to: number;
  /** Ids; null: every service. */
  readonly serviceIds: readonly string[] | null;
  /** By a schedule of the configuration, once by the configuration, or by somebody on the spot. */
  readonly origin: 'schedule' | 'once' | 'declared';
}

/** What makes planned windows: a schedule on the clock of a zone, or two instants. */
export type PlannedRule = {
  readonly name: string;
  readonly why: string | null;
  /** Ids; null: every service. */
  readonly serviceIds: readonly string[] | null;
} & (
  | {
      readonly kind: 'schedule';
      /** Five fields. */
      readonly schedule: string;
      /** IANA name. */
      readonly timezone: string;
      readonly lastsMs: number;
    }
  | { readonly kind: 'once'; readonly from: number; readonly to: number }
);

/** What everybody downstream of the configuration may know of a service: no settings, no secrets. */
export interface ServiceCard {
  readonly id: string;
  readonly name: string;
  readonly group: string | null;
  /** The probe's kind: the protocol's name. */
  readonly kind: string;
  /** Where it is asked, for people: `db.fernhill.home.arpa:5432`. Never holds user info or a query. */
  readonly where: string;
  readonly open: string | null;
  readonly note: string | null;
  readonly needs: readonly string[];
  readonly through: readonly string[];
  /** Share of required time over 30 days, 0…1. */
  readonly objective: number | null;
  readonly everyMs: number;
}
