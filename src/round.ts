/**
 * One round: a service is asked, the answer judged, the record kept, and what changed is told.
 * All steps stand here in their order; each is done elsewhere.
 */
import type { Clock } from './base/clock.ts';
import { CountedMap } from './base/counted-map.ts';
import { messageOf } from './base/errors.ts';
import type { Hear } from './base/happenings.ts';
import type { Log } from './base/log.ts';
import type { Reason } from './base/reasons.ts';
import type { Standing } from './base/standing.ts';
import type { Observation, Outage } from './base/values.ts';
import { askedAlong, causeNow, explained, type House, reach, sightOf } from './judge/causes.ts';
import { graded } from './judge/grade.ts';
import { blank, instantOf, judge, missed, pending } from './judge/judge.ts';
import type { Change, Memory, Verdict } from './judge/memory.ts';
import type { Policy } from './judge/policy.ts';
import { resumed } from './judge/resume.ts';
import { standingFrom } from './judge/standing.ts';
import { behindCause } from './judge/steadiness.ts';
import type { ProbeContext, ProbeKeep } from './probe/probe.ts';
import { joined } from './record/gathered.ts';
import type { ChangeSet, NoticeEdit, ObservationEntry, Record } from './record/record.ts';
import { paced } from './schedule/pace.ts';
import type { Wish } from './schedule/timetable.ts';

/** What a round needs to know of a service. A configured service fits. */
export interface RoundService<Settings> extends Policy {
  readonly id: string;
  readonly needs: readonly string[];
  readonly through: readonly string[];
  readonly timeoutMs: number;
  readonly recheckMs: number;
  readonly slowMs: number | null;
  readonly fingerprint: string;
  /** Factors on the interval after an answer with this reason: the probe's manners. */
  readonly slower: { readonly [reason in Reason]?: number };
  readonly probe: Settings;
}

export interface RoundsGiven<Settings> {
  readonly clock: Clock;
  readonly log: Log;
  readonly record: Record;
  readonly ask: (settings: Settings, context: ProbeContext) => Promise<Observation>;
  /** What is to be told of a change: part of the change's own transaction. */
  readonly draft: (
    change: Change,
    standingOf: (id: string) => Standing | undefined,
  ) => readonly NoticeEdit[];
  /** Whether a service is in planned time; without it, none ever is. */
  readonly isPlanned?: (serviceId: string, at: number) => boolean;
  /** Notices wait in the record. */
  readonly tell: () => void;
  /** Made known as it happens, once it is in the record or waits for it. */
  readonly show?: Hear;
  /** Aborted when the daemon stops. */
  readonly signal: AbortSignal;
}

const nothing: Wish = { againInMs: null, restMs: null, alsoNow: [] };

export class Rounds<Settings> {
  readonly #given: RoundsGiven<Settings>;
  readonly #services = new Map<string, RoundService<Settings>>();
  readonly #memories = new CountedMap<string, Memory>();
  readonly #lasts = new Map<string, Observation>();
  readonly #keep: ProbeKeep;
  /** When a service's last outage ended. */
  readonly #backAt = new Map<string, number>();
  /** The latest instant that was judged. */
  #latestAt = 0;
  /** Who needs a service directly. */
  readonly #neededBy = new Map<string, string[]>();
  readonly #house: House = {
    relationsOf: (id) => this.#services.get(id),
    memoryOf: (id) => this.#memories.get(id),
    backAt: (id) => this.#backAt.get(id),
  };

  constructor(given: RoundsGiven<Settings>) {
    this.#given = given;
    const { record } = given;
    this.#keep = {
      read: (key) => record.kept(key),
      write: (key, value) => record.keep(key, value),
    };
  }

  /** Takes these services in the place of those before, with what the record remembers of them. */
  async replace(services: readonly RoundService<Settings>[]): Promise<void> {
    const { record } = this.#given;
    const memories = new Map<string, Memory>();
    for (const { id, fingerprint } of services) {
      const held = this.#memories.get(id);
      const { memory, last } = held
        ? { memory: held, last: this.#lasts.get(id) ?? null }
        : await record.remembered(id);
      memories.set(id, resumed(memory, last, fingerprint));
      if (last) this.#lasts.set(id, last);
    }
    this.#services.clear();
    this.#memories.clear();
    this.#neededBy.clear();
    for (const service of services) {
      this.#services.set(service.id, service);
      for (const needed of service.needs) {
        this.#neededBy.set(needed, [...(this.#neededBy.get(needed) ?? []), service.id]);
      }
    }
    for (const [id, memory] of memories) this.#remember(id, memory);
    await this.#closeGaps();
  }

  /** One round of one service. */
  async round(id: string): Promise<Wish> {
    const service = this.#services.get(id);
    if (!service) return nothing;

    const observation = graded(await this.#ask(service), service.slowMs);
    // Cut short by the end of the daemon, or of this configuration: it says nothing about the service.
    if (this.#given.signal.aborted || this.#services.get(id) !== service) {
      return nothing;
    }
    const before = this.#memories.get(id) ?? blank(service.fingerprint);
    const verdict = this.#judge(service, before, observation);
    await this.#record(service, observation, verdict);
    return this.#wish(service, before, verdict);
  }

  /** How a service stands now; undefined for an unknown id. */
  standingOf = (id: string): Standing | undefined => {
    const memory = this.#memories.get(id);
    const service = this.#services.get(id);
    if (!memory || !service) return undefined;
    const last = this.#lasts.get(id);
    const { through } = service;
    const { memoryOf } = this.#house;
    return {
      ...standingFrom({ memory, last: last ?? null, policy: service, through }, memoryOf),
      pacedMs: paced(service, last),
    };
  };

  /** Another number once a standing may be another than before. */
  revision = (): number => this.#memories.revision;

  #ask(service: RoundService<Settings>): Promise<Observation> {
    const { clock, signal, ask } = this.#given;
    return ask(service.probe, { clock, signal, keep: this.#keep, timeoutMs: service.timeoutMs });
  }

  #judge(service: RoundService<Settings>, memory: Memory, observation: Observation): Verdict {
    const { id } = service;
    const latestAt = this.#latestAt;
    const at = instantOf(memory, observation, latestAt);
    const firstAt = memory.failedRun?.firstAt ?? at;
    const sight = {
      gateways: sightOf(id, { firstAt, at }, this.#house),
      causeId: causeNow(id, { outage: memory.outage, failedAt: firstAt }, this.#house),
      isPlanned: this.#isPlanned(id, observation, at),
    };
    const everyMs = paced(service, observation);
    const policy = everyMs === service.everyMs ? service : { ...service, everyMs };
    const verdict = judge({ serviceId: id, memory, observation, latestAt, policy, sight });
    this.#lasts.set(id, observation);
    this.#remember(id, verdict.memory);
    if (verdict.outage?.restoredAt) this.#backAt.set(id, verdict.outage.restoredAt);
    return verdict;
  }

  /** Not asked of the most common answer by far: a good one, where nothing was wrong. */
  #isPlanned(id: string, { outcome }: Observation, at: number): boolean {
    if (outcome === 'answered' && this.#memories.get(id)?.state === 'up') return false;
    return this.#given.isPlanned?.(id, Math.min(at, this.#given.clock.wallMs())) ?? false;
  }

  #remember(id: string, memory: Memory): void {
    this.#memories.set(id, memory);
    this.#latestAt = Math.max(this.#latestAt, memory.lastAt ?? 0);
  }

  async #record(
    service: RoundService<Settings>,
    observation: Observation,
    verdict: Verdict,
  ): Promise<void> {
    const { record, tell } = this.#given;
    const entry = { serviceId: service.id, observation };
    const changes = verdict.routine ? null : this.#changes(service.id, verdict);
    try {
      if (changes) await record.commit({ ...changes, observations: [entry] });
      else await record.observe(entry);
    } catch (thrown) {
      this.#logUnwritten(thrown);
    }
    // Also when it could not be written: the notice waits with the rest, and can be sent from there.
    if (changes && changes.notices.length > 0) tell();
    const news = verdict.change ?? verdict.steadied;
    if (news) this.#logChange(news);
    this.#show(entry, verdict.change);
  }

  /** Everything that follows from one verdict, to be committed together. */
  #changes(id: string, verdict: Verdict): ChangeSet {
    const { change } = verdict;
    const behind = change?.to === 'down' ? this.#putBehind(change) : [];
    const news = [change ?? verdict.steadied, ...behind.map(({ steadied }) => steadied)];
    const outages = behind.map(({ outage }) => outage);
    return {
      observations: [],
      memories: [id, ...outages.map((outage) => outage.serviceId)].flatMap((serviceId) => {
        const memory = this.#memories.get(serviceId);
        return memory ? [{ serviceId, memory }] : [];
      }),
      spans: [{ serviceId: id, edits: verdict.spans }],
      outages: verdict.outage ? [verdict.outage, ...outages] : outages,
      unconfirmed: verdict.unconfirmed ? [verdict.unconfirmed] : [],
      notices: news.flatMap((one) => (one ? this.#given.draft(one, this.standingOf) : [])),
    };
  }

  /** What went down before its cause was found out stands behind it from now on. */
  #putBehind({ serviceId: causeId, decidedAt: at }: Change) {
    const moved = explained(this.#dependentsOf(causeId), this.#house);
    return moved.map((outage): { outage: Outage; steadied: Change | null } => {
      const { serviceId: id } = outage;
      const memory = this.#memories.get(id);
      if (!memory) return { outage, steadied: null };
      const put = behindCause(memory, outage, { last: this.#lasts.get(id), at });
      this.#memories.set(id, put.memory);
      return { outage, steadied: put.steadied };
    });
  }

  /** All that need this service, directly or not. */
  #dependentsOf(id: string): ReadonlySet<string> {
    return reach(id, (at) => this.#neededBy.get(at) ?? []);
  }

  #wish(service: RoundService<Settings>, before: Memory, { memory, change }: Verdict): Wish {
    // Also once more when it is confirmed: its cause may have failed a moment after it.
    const inDoubt = memory.failedRun !== null && before.state !== 'down';
    const restMs = paced(service, this.#lasts.get(service.id));
    const recovered = change?.from === 'down' && change.to !== 'unobserved';
    return {
      againInMs: pending(memory, service) ? service.recheckMs : null,
      restMs: restMs > service.everyMs ? restMs : null,
      alsoNow: inDoubt
        ? askedAlong(service).filter((id) => this.#memories.get(id)?.state !== 'down')
        : recovered
          ? [...this.#dependentsOf(service.id)]
          : [],
    };
  }

  /** Time that nobody watched before now is unobserved: said once, without a notice. */
  async #closeGaps(): Promise<void> {
    const { clock, record } = this.#given;
    const now = clock.wallMs();
    const sets: ChangeSet[] = [];
    for (const [id, service] of this.#services) {
      const memory = this.#memories.get(id);
      const verdict = memory && missed({ serviceId: id, memory, policy: service, now });
      if (!verdict) continue;
      this.#memories.set(id, verdict.memory);
      sets.push(this.#changes(id, verdict));
    }
    if (sets.length === 0) return;
    try {
      await record.commit(joined(sets));
    } catch (thrown) {
      this.#logUnwritten(thrown);
    }
  }

  /** The watch goes on; the record keeps what it could not write and says so on the board. */
  #logUnwritten(thrown: unknown): void {
    this.#given.log.error({ error: messageOf(thrown) }, 'the record could not be written');
  }

  #show({ serviceId, observation }: ObservationEntry, change: Change | null): void {
    this.#given.show?.({
      serviceId,
      observation,
      change: change && {
        from: change.from,
        to: change.to,
        since: change.since,
        decidedAt: change.decidedAt,
        causeId: this.standingOf(serviceId)?.causeId ?? null,
        outageId: change.outage?.id ?? null,
      },
    });
  }

  #logChange({ serviceId, from, to, since, observation, unsteadiness }: Change): void {
    const { reason, detail } = observation.trouble ?? { reason: null, detail: null };
    const unsteady = unsteadiness && { unsteady: unsteadiness.phase };
    const fields = { service: serviceId, from, to, since, reason, detail, ...unsteady };
    this.#given.log.info(fields, from === to ? 'steady again' : 'state changed');
  }
}
