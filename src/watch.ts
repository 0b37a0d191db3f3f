/**
 * The watch: rounds, timetable, drafting and delivery joined over the record for one set of services. It opens nothing:
 * how a service is asked and how a message is sent come in as functions, so that it runs the same over a simulated world.
 */
import type { Clock } from './base/clock.ts';
import { messageOf } from './base/errors.ts';
import type { Hear } from './base/happenings.ts';
import type { Lateness } from './base/lateness.ts';
import { stopGraceMs } from './base/limits.ts';
import type { Log } from './base/log.ts';
import { type SharingClock, sharingClock } from './base/sharing-clock.ts';
import type { Standing } from './base/standing.ts';
import type { ServiceCard } from './base/values.ts';
import { reach } from './judge/causes.ts';
import type { Change } from './judge/memory.ts';
import { gatheringRecord } from './record/gathered.ts';
import type { NoticeEdit, Record } from './record/record.ts';
import { type RoundService, Rounds, type RoundsGiven } from './round.ts';
import { Timetable } from './schedule/timetable.ts';
import type { ChannelChoice } from './tell/channel.ts';
import { type DeliveryRun, startDelivery } from './tell/delivery.ts';
import type { DrafterParts } from './tell/desk.ts';
import { createDrafter } from './tell/draft.ts';
import { plannedHold } from './tell/planned-hold.ts';
import { keepTellState, type TellState } from './tell/state.ts';
import type { QuietWays } from './tell/summing.ts';
import type { Send } from './tell/webhook.ts';

export interface WatchedService<Settings> extends RoundService<Settings> {
  readonly card: ServiceCard;
  /** Least time between the starts of two exchanges. */
  readonly minGapMs: number;
}

export interface WatchGiven<Settings, Channel extends ChannelChoice> {
  readonly clock: Clock;
  readonly log: Log;
  readonly record: Record;
  readonly services: readonly WatchedService<Settings>[];
  readonly channels: readonly Channel[];
  /** After a boot of this machine, this long nothing is told. */
  readonly settleMs: number;
  /** When the planned time of a service in which the instant lies is over; null: it lies in none. */
  readonly plannedUntil?: (serviceId: string, at: number) => number | null;
  /** Of jobs, what of their last run is told with a change. */
  readonly jobOf?: DrafterParts['jobOf'];
  readonly ask: RoundsGiven<Settings>['ask'];
  readonly send: Send<Channel>;
  /** By which clock channels are quiet, and what is told all the same; without it, none is quiet. */
  readonly quiet?: Omit<QuietWays, 'newId'>;
  /** Hears each answer, judged, as it comes. */
  readonly show?: Hear;
  /** A new UUID at each call. */
  readonly newId: () => string;
  /** In [0, 1). */
  readonly random: () => number;
}

/** A moment more than the needs of a service take to be confirmed. */
const holdMarginMs = 1_000;

export class Watch<Settings, Channel extends ChannelChoice> {
  readonly #given: WatchGiven<Settings, Channel>;
  readonly #services: ReadonlyMap<string, WatchedService<Settings>>;
  readonly #rounds: Rounds<Settings>;
  readonly #timetable: Timetable;
  readonly #tellState;
  readonly #stopping = new AbortController();
  /** For the probes' limits of time. */
  readonly #limits: SharingClock;
  #delivery: DeliveryRun | null = null;

  constructor(given: WatchGiven<Settings, Channel>) {
    const { clock, log, record, services, channels, ask, newId } = given;
    this.#given = given;
    this.#services = new Map(services.map((service) => [service.id, service]));
    this.#tellState = keepTellState(channels.map(({ name }) => name));
    const draft = createDrafter({
      cards: new Map(services.map(({ id, card }) => [id, card])),
      channels,
      newId,
      holdMs: (id) => this.#holdMs(id),
      ...(given.jobOf && { jobOf: given.jobOf }),
    });
    const plannedUntil = given.plannedUntil ?? (() => null);
    const hold = plannedHold(plannedUntil);
    this.#limits = sharingClock(clock);
    this.#rounds = new Rounds({
      clock: this.#limits,
      log,
      record: gatheringRecord(record, clock),
      ask,
      draft: (change, standingOf) =>
        this.#settled(hold(this.#onTheClock(change, draft(change, standingOf)))),
      isPlanned: (id, at) => plannedUntil(id, at) !== null,
      tell: () => this.#delivery?.wake(),
      ...(given.show && { show: given.show }),
      signal: this.#stopping.signal,
    });
    this.#timetable = new Timetable({
      clock,
      round: (id) => this.#rounds.round(id),
      onDefect: (service, thrown) =>
        log.error({ service, error: messageOf(thrown) }, 'a round could not be done'),
    });
  }

  /** Takes over what the record remembers and closes the gap since; nothing is asked yet. */
  recall(): Promise<void> {
    return this.#rounds.replace(this.#given.services);
  }

  /** From now on services are asked, and what waits is told. */
  begin(): void {
    const { record, channels, clock, log, random, send, services, quiet, newId } = this.#given;
    const state = this.#tellState;
    this.#delivery = startDelivery({
      ...{ record, channels, clock, log, random, send, state },
      ...(quiet && { ways: { ...quiet, newId } }),
    });
    this.#timetable.replace(
      services.map(({ id, everyMs, minGapMs }) => ({
        id,
        everyMs,
        minGapMs,
        waitMs: this.#waitMs(id, minGapMs),
      })),
    );
  }

  /** Running probes may end for two seconds and are cut then; deliveries likewise. */
  async stop(): Promise<void> {
    const cut = this.#given.clock.after(stopGraceMs, () => this.#stopping.abort());
    await Promise.all([this.#timetable.stop(), this.#delivery?.stop()]);
    this.#limits.close();
    cut.cancel();
  }

  /** How a service stands now; throws for an unknown id. */
  standingOf(id: string): Standing {
    const standing = this.#rounds.standingOf(id);
    if (!standing) throw new Error(`no service ${id}`);
    return standing;
  }

  /** Another number once any standing may be another than before. */
  revision(): number {
    return this.#rounds.revision();
  }

  /** Resolves when a round of this service that began after the call is over. */
  askNow(id: string): Promise<void> {
    return this.#timetable.askNow(id);
  }

  /** Whether services are asked when they are due. */
  lateness(): Lateness {
    return this.#timetable.lateness();
  }

  /** A notice waits in the record that no round made. */
  wake(): void {
    this.#delivery?.wake();
  }

  telling(): TellState {
    return this.#tellState.state();
  }

  /** Long enough for all that it needs, directly or not, to be asked until they are confirmed. */
  #holdMs(id: string): number {
    const needs = reach(id, (at) => this.#services.get(at)?.needs ?? []);
    const holds = [...needs].flatMap((needed) => {
      const service = this.#services.get(needed);
      return service ? service.confirm * (service.recheckMs + service.timeoutMs) : [];
    });
    return Math.max(...holds, 0) + holdMarginMs;
  }

  /** What is judged never goes back in time; what is sent goes by the clock as it is, also after that was set back. */
  #onTheClock(change: Change, edits: readonly NoticeEdit[]): readonly NoticeEdit[] {
    const behindMs = Math.max(change.decidedAt - this.#given.clock.wallMs(), 0);
    if (behindMs === 0) return edits;
    return edits.map((edit) => {
      if (!('notice' in edit)) return edit;
      const { at, notBefore } = edit.notice;
      const notice = { ...edit.notice, at: at - behindMs, notBefore: notBefore - behindMs };
      return { ...edit, notice };
    });
  }

  /** After a boot of this machine nothing is told before things had time to come up; what came up is then silent. */
  #settled(edits: readonly NoticeEdit[]): readonly NoticeEdit[] {
    const leftMs = this.#given.settleMs - this.#given.clock.bootMs();
    if (leftMs <= 0) return edits;
    return edits.map((edit) => {
      if (edit.kind !== 'add') return edit;
      const notBefore = Math.max(edit.notice.notBefore, edit.notice.at + Math.ceil(leftMs));
      return { ...edit, notice: { ...edit.notice, notBefore } };
    });
  }

  /** What is left of the least gap since the last answer, which may have been given before a restart. */
  #waitMs(id: string, minGapMs: number): number {
    const { last } = this.standingOf(id);
    const sinceMs = last ? this.#given.clock.wallMs() - last.at : Number.POSITIVE_INFINITY;
    return Math.max(minGapMs - Math.max(sinceMs, 0), 0);
  }
}
