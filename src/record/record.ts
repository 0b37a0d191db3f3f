/**
 * The Record port: what the house needs of its memory, whatever engine stands behind it.
 * All calls are async; nothing of SQL leaks through. Reads see what is queued as well as what is written.
 */
import type { JobRun } from '../base/jobs.ts';
import type {
  Facts,
  Observation,
  Outage,
  Outcome,
  Phases,
  PlannedWindow,
  Span,
  UnconfirmedFailure,
} from '../base/values.ts';
import type { Memory, SpanEdit } from '../judge/memory.ts';
import type { Step } from '../uptime/quantiles.ts';
import type { Sketch } from '../uptime/sketch.ts';
import type { Outbox } from './outbox.ts';
import type { Upkeep } from './upkeep.ts';

export interface ObservationEntry {
  readonly serviceId: string;
  readonly observation: Observation;
}

/** One message about one change, on its way to the channels. */
export interface Notice {
  /** UUID; equals the event's id and stays the same over retries. */
  readonly id: string;
  /** Event type, as `rollcall.service.down`. */
  readonly type: string;
  readonly at: number;
  readonly serviceId: string | null;
  readonly outageId: string | null;
  /** Not sent before this instant: it may still be folded into its cause or withdrawn. */
  readonly notBefore: number;
  /** The event's `data`, as in interface §5. */
  readonly data: NoticeData;
  /** Names of the channels that carry it. */
  readonly channels: readonly string[];
}

/** JSON-safe. `summary` is the one sentence; the rest is the event type's own. */
export type NoticeData = { readonly summary: string } & { readonly [key: string]: unknown };

export type NoticeEdit =
  /**
   * Where `unsteadyKnown` is given, only on those of its channels that know (true), or do not know (false), that the service
   * is unsteady: the last that was told there of `unsteady` and `steady` is `unsteady`, neither withdrawn nor folded.
   * `ifUnheard`: only where nothing was told of the beginning of its outage, nor waits to be.
   */
  | {
      readonly kind: 'add';
      readonly notice: Notice;
      readonly unsteadyKnown?: boolean;
      readonly ifUnheard?: boolean;
    }
  /**
   * `down`, `unsteady` and `degraded` notices of these services that nobody tried to send yet are folded into notice `into`;
   * only on channels that carry `into`, and not those of an outage that is over. Into what is unsteady: on each channel that
   * knows it, into the notice by which it does.
   */
  | {
      readonly kind: 'fold';
      readonly serviceIds: readonly string[];
      readonly into: string | { readonly unsteady: string };
    }
  /**
   * The outage is over. Its `down` and `unsteady` notices that are still held (before their `notBefore`, and not claimed) are
   * withdrawn.
   * `notice` is added on those of its channels on which one of them is neither withdrawn nor folded: who heard of the
   * outage hears of its end, also through a sum, or on a channel that stood in for one of the notice's. An outage may have
   * several such notices, `steady` among them where it was down by then, and not each on every channel. `unsteadyKnown`: as
   * above, after that.
   */
  | {
      readonly kind: 'restore';
      readonly outageId: string;
      readonly notice: Notice;
      readonly unsteadyKnown?: boolean;
    }
  /**
   * What waits of these notices on this channel is folded into `notice`, which goes out there in their place, tried before
   * or not: who is told the sum has heard of it all. Nothing of the lanes of what was folded overtakes the sum.
   */
  | {
      readonly kind: 'sum';
      readonly channel: string;
      readonly noticeIds: readonly string[];
      readonly notice: Notice;
    }
  /**
   * Planned time ends at another instant than was known: `down` notices of these services that are held until `from`, and
   * that nobody tried to send yet, are held until `to`.
   */
  | {
      readonly kind: 'hold';
      readonly serviceIds: readonly string[];
      readonly from: number;
      readonly to: number;
    }
  /** The notice goes out on channel `to` as well, in place of `from`, unless it went there already. */
  | {
      readonly kind: 'divert';
      readonly noticeId: string;
      readonly from: string;
      readonly to: string;
      readonly at: number;
    };

/** What is committed together, at once, with all that was queued before it. */
export interface ChangeSet {
  readonly observations: readonly ObservationEntry[];
  readonly memories: readonly { readonly serviceId: string; readonly memory: Memory }[];
  readonly spans: readonly { readonly serviceId: string; readonly edits: readonly SpanEdit[] }[];
  /** Inserted or replaced by id. */
  readonly outages: readonly Outage[];
  readonly unconfirmed: readonly UnconfirmedFailure[];
  readonly notices: readonly NoticeEdit[];
  /** Put on record as they begin, or as they are declared; inserted or replaced by id. One of no length never was. */
  readonly planned?: readonly PlannedWindow[];
  /** Somebody said of an outage "I know", at this instant; the first time counts. */
  readonly known?: readonly { readonly outageId: string; readonly at: number }[];
  /** Runs of jobs as they are known now; inserted, or replaced by job and id. */
  readonly runs?: readonly JobRun[];
  /** As by `keep`, but with the rest: that something was told, and the notice that tells it. */
  readonly keeps?: readonly { readonly name: string; readonly words: string }[];
}

/** One notice to one channel. */
export interface Delivery {
  readonly notice: Notice;
  readonly channel: string;
  readonly attempts: number;
  readonly firstAttemptAt: number | null;
  readonly nextAttemptAt: number;
  /** Name of the channel that could not deliver it, for which this one stands in. */
  readonly fallbackFor: string | null;
}

/** Now nothing goes out on this channel but what is about these services, and what is of these types. */
export interface Quiet {
  readonly channel: string;
  readonly serviceIds: readonly string[];
  readonly types: readonly string[];
}

export type DeliveryState = 'waiting' | 'delivered' | 'dead' | 'folded' | 'withdrawn';

/** What came of an attempt. */
export interface Attempt {
  readonly noticeId: string;
  readonly channel: string;
  readonly at: number;
  readonly tookMs: number;
  /** HTTP status; null when there was no answer. */
  readonly status: number | null;
  /** What the other side or the network said, cleaned and bounded; no secrets. */
  readonly detail: string;
  readonly next:
    | { readonly state: 'delivered' }
    | { readonly state: 'dead' }
    | { readonly state: 'waiting'; readonly nextAttemptAt: number };
}

/** A notice to a channel with what became of it, for people. */
export interface DeliveryReport {
  readonly notice: Notice;
  readonly channel: string;
  readonly state: DeliveryState;
  readonly attempts: readonly Omit<Attempt, 'noticeId' | 'channel' | 'next'>[];
  readonly foldedInto: string | null;
  readonly fallbackFor: string | null;
}

/** What the owner wrote about an outage: lines of text, bounded by who takes it. */
export interface OwnerNote {
  readonly at: number;
  readonly text: string;
}

/** The sign of life that the daemon leaves: what is compared after a start. */
export interface Pulse {
  readonly wallMs: number;
  readonly bootMs: number;
  readonly bootId: string;
}

/** What was known when the daemon stopped. */
export interface Remembered {
  readonly memory: Memory | null;
  /** The observation of the service that came last into the record. */
  readonly last: Observation | null;
}

/** A step of the clock, a suspend, a stop: why time went unwatched. For people; spans carry the meaning. */
export interface Disturbance {
  readonly at: number;
  readonly kind:
    | 'started'
    | 'stopped'
    | 'not-stopped-cleanly'
    | 'suspended'
    | 'clock-stepped'
    | 'stalled'
    | 'reloaded';
  /** Length of the suspend or stall, size of the step (negative: back); 0 otherwise. */
  readonly byMs: number;
}

export interface RecordHealth {
  /** False since the last write failed; observations then wait in bounded memory. */
  readonly writable: boolean;
  /** Why not, for people, as `the disk is full`; null while writable. */
  readonly trouble: string | null;
  readonly queuedCount: number;
  readonly droppedCount: number;
  readonly sizeBytes: number;
  readonly lastCommitAt: number | null;
  /** The damage found last, what became of the file, and what took its place, for people; null: none was found. */
  readonly damage: string | null;
}

export interface Range {
  readonly from: number;
  readonly to: number;
}

/** How long answers took over a range, and how many of each outcome there were. */
export interface Latencies {
  readonly counts: { readonly [outcome in Outcome]: number };
  /** Of the answers (answered or limited): the whole exchange, and each phase that happened in it. */
  readonly tookUs: Sketch;
  readonly phases: { readonly [phase in keyof Phases]?: Sketch };
}

/** A service told something else of itself than before. */
export interface FactsChange {
  /** When it was first told. */
  readonly at: number;
  readonly before: Facts;
  readonly after: Facts;
}

export interface Record extends Outbox {
  /** UUID made with the record; the source of its events (`urn:uuid:…`). */
  readonly instanceId: string;

  // written
  // While the record cannot be written all of this waits in bounded memory, in order, and is done at a later flush;
  // meanwhile reads see it as if it were written, and notices go out. `health` says so.
  /** Queues a routine observation; it is written with the next group. */
  observe(entry: ObservationEntry): Promise<void>;
  /** All or nothing, durable when the promise resolves. Rejects when it could not be written; the set is then queued and written later, in order. */
  commit(changes: ChangeSet): Promise<void>;
  /** Writes what is queued, with the pulse; the engine does so by itself at least every `groupCommitMs`. Does not reject. */
  flush(pulse: Pulse): Promise<void>;
  disturbed(disturbance: Disturbance): Promise<void>;
  /** Adds a note of the owner's to those of an outage. */
  note(outageId: string, note: OwnerNote): Promise<void>;
  /** Keeps a few words under a name, in place of those before; written with the next group. Neither holds a secret. */
  keep(name: string, words: string): Promise<void>;

  // read
  remembered(serviceId: string): Promise<Remembered>;
  lastPulse(): Promise<Pulse | null>;
  /** Spans that touch the range, in order, not clipped. */
  spans(serviceId: string, range: Range): Promise<readonly Span[]>;
  /**
   * In order of time, those of one instant as they came; `from` inclusive, `to` exclusive; at most `countMax`, the newest.
   * What is a few hours old may have been put away, and is when its day is sealed. Of that the failed ones are whole; of
   * the others the instant, outcome, reason and facts are exact, `tookUs` is within 1 % (in whole microseconds), phases are
   * gone and a trouble has its reason's own sentence.
   */
  observations(serviceId: string, range: Range, countMax?: number): Promise<readonly Observation[]>;
  /**
   * The range by steps from `range.from` on, in the shape of `stepsOf`. Latencies of what was put away are within 1 %. Makes
   * no object of each observation: a month at once is no trouble, nor are years by days.
   */
  steps(serviceId: string, range: Range, stepMs: number): Promise<readonly Step[]>;
  /** Within 1 %. The phases of what was put away are in it where the whole UTC day lies in the range. */
  latencies(serviceId: string, range: Range): Promise<Latencies>;
  /** Newest first. An answer that told nothing changes nothing, and neither does the first that told something. */
  factsChanges(serviceId: string, range: Range, countMax: number): Promise<readonly FactsChange[]>;
  /** That touch the range, newest first; `serviceId` null: of all. */
  outages(serviceId: string | null, range: Range, countMax?: number): Promise<readonly Outage[]>;
  outage(id: string): Promise<Outage | null>;
  unconfirmed(serviceId: string, range: Range): Promise<readonly UnconfirmedFailure[]>;
  disturbances(range: Range): Promise<readonly Disturbance[]>;
  /** In the order in which they were written. */
  notes(outageId: string): Promise<readonly OwnerNote[]>;
  /** Windows on record that touch the range, in order of their beginning. Those to come by a schedule are not on record. */
  planned(range: Range): Promise<readonly PlannedWindow[]>;
  /** When somebody said of an outage "I know"; null: nobody did. */
  knownAt(outageId: string): Promise<number | null>;
  /** Null: nothing was kept under this name. */
  kept(name: string): Promise<string | null>;
  /** Runs that began (where only an end was told: ended) in the range, newest first. Only the newest still have their output. */
  runs(jobId: string, range: Range, countMax: number): Promise<readonly JobRun[]>;
  /** Null: the job has no run of this id. */
  run(jobId: string, id: string): Promise<JobRun | null>;

  readonly upkeep: Upkeep;

  /**
   * Another number once spans, outages, unconfirmed failures or planned windows may be others than before, once observations
   * were lost, and once another file took the place of this one. For who keeps what he has read.
   */
  revision(): number;
  health(): RecordHealth;
  close(pulse: Pulse): Promise<void>;
}
