/**
 * Jobs at work: takes their reports, keeps their runs in the record, and answers, in the place of a probe, how each of them
 * stands. What that is is decided in `job/`; this holds what is known, and sees to it that somebody looks again when
 * the time alone changes it.
 */
import type { Alarm, Clock } from './base/clock.ts';
import { messageOf } from './base/errors.ts';
import {
  type BeganReport,
  type EndedReport,
  type JobPlan,
  type JobRun,
  type JobSince,
  type JobStanding,
  type RunTaken,
  runAt,
} from './base/jobs.ts';
import {
  jobLookMs,
  openRunsCountMax,
  runsCountMax,
  runsJudgedCountMax,
  tailInNoticeCharsMax,
} from './base/limits.ts';
import type { Log } from './base/log.ts';
import { lastLines, outputTail } from './base/output-tail.ts';
import { othersFirst } from './base/turns.ts';
import type { Observation } from './base/values.ts';
import { type WaitedFor, waitedFor } from './job/due.ts';
import { sinceNow, sinceText } from './job/since.ts';
import { type Agenda, agendaOf, latestOpen, standingAt } from './job/standing.ts';
import type { Record } from './record/record.ts';

export interface JobsGiven {
  readonly clock: Clock;
  readonly log: Log;
  readonly record: Pick<Record, 'commit' | 'runs' | 'run' | 'kept' | 'keep' | 'remembered'>;
  readonly jobs: readonly { readonly plan: JobPlan; readonly fingerprint: string }[];
  /** Takes secrets out of a text. */
  readonly mask: (text: string) => string;
  /** A new UUID at each call. */
  readonly newId: () => string;
  /** How the job stands has changed, or may have: it is to be asked. */
  readonly look: (jobId: string) => void;
}

interface Held {
  readonly plan: JobPlan;
  readonly fingerprint: string;
  readonly waitedFor: WaitedFor;
  since: JobSince;
  /** The newest, and those without an end; of their output only the last lines. */
  runs: readonly JobRun[];
  /** Worked out when somebody asks: reports may come by the thousand. Null: not since something was told. */
  agenda: Agenda | null;
  /** When somebody looked last. */
  lookedAt: number | null;
  alarm: Alarm | null;
}

const always = { from: 0, to: Number.MAX_SAFE_INTEGER };

export class Jobs {
  readonly #given: JobsGiven;
  readonly #held = new Map<string, Held>();
  #waiting: JobRun[] = [];
  #writing: Promise<boolean> | null = null;

  constructor(given: JobsGiven) {
    this.#given = given;
  }

  /** Takes over what the record remembers. */
  async recall(): Promise<void> {
    const { record, jobs, clock } = this.#given;
    for (const { plan, fingerprint } of jobs) {
      const runs = await record.runs(plan.id, always, runsCountMax);
      const { last } = await record.remembered(plan.id);
      const kept = await record.kept(keptName(plan.id));
      const held = { plan, fingerprint, waitedFor: waitedFor(plan), lookedAt: last?.at ?? null };
      const since = sinceNow({ kept, fingerprint, now: clock.wallMs() });
      const short = pruned(plan, runs.map(shortened));
      this.#held.set(plan.id, { ...held, since, runs: short, agenda: null, alarm: null });
      this.#keepSince(plan.id, since, kept);
    }
  }

  knows(jobId: string): boolean {
    return this.#held.has(jobId);
  }

  /** In place of a probe: how the job stands at this moment. */
  ask(jobId: string): Observation {
    const held = this.#heldOf(jobId);
    const now = this.#given.clock.wallMs();
    this.#looked(held, now);
    const { observation, changesAt } = standingAt(agendaIn(held), now);
    held.alarm?.cancel();
    held.alarm = null;
    if (changesAt !== null && changesAt - now < jobLookMs) {
      held.alarm = this.#given.clock.after(changesAt - now, () => this.#given.look(jobId));
    }
    return observation;
  }

  standingOf(jobId: string): JobStanding {
    return standingAt(agendaIn(this.#heldOf(jobId)), this.#given.clock.wallMs());
  }

  /** The run that was told of last, with the last lines of its output; null: none ever was. */
  lastRunOf(jobId: string): JobRun | null {
    const ended = this.#heldOf(jobId).runs.filter(({ endedAt }) => endedAt !== null);
    return ended.toSorted((one, other) => (other.endedAt ?? 0) - (one.endedAt ?? 0))[0] ?? null;
  }

  /** The same report twice is one report. */
  async began(jobId: string, { runId, at }: BeganReport): Promise<RunTaken> {
    const known = runId === null ? null : await this.#runOf(jobId, runId);
    if (known) return { run: known, durable: true };
    return this.#keep({
      ...blank,
      jobId,
      id: runId ?? this.#given.newId(),
      beganAt: this.#instant(at),
    });
  }

  async ended(jobId: string, report: EndedReport): Promise<RunTaken> {
    const { runId, exit, value, unit, sizeBytes } = report;
    const held = this.#heldOf(jobId);
    const known =
      runId === null ? latestOpen(held.plan, held.runs) : await this.#runOf(jobId, runId);
    if (known && known.endedAt !== null) return { run: known, durable: true };
    const endedAt = this.#instant(report.at);
    const beganAt = known?.beganAt ?? report.beganAt;
    const tail = this.#given.mask(outputTail(report.output));
    return this.#keep({
      jobId,
      id: known?.id ?? runId ?? this.#given.newId(),
      beganAt: beganAt === null ? null : Math.min(beganAt, endedAt),
      endedAt,
      exit,
      value,
      unit,
      sizeBytes,
      tail: tail === '' ? null : tail,
    });
  }

  /** What waits to be written is written; nobody looks any more. */
  async stop(): Promise<void> {
    for (const { alarm } of this.#held.values()) alarm?.cancel();
    await this.#writing;
  }

  async #keep(run: JobRun): Promise<RunTaken> {
    this.#hold(run);
    this.#waiting.push(run);
    this.#writing ??= this.#write();
    const durable = await this.#writing;
    this.#given.look(run.jobId);
    return { run, durable };
  }

  /** All that came in the same moment is written together. False: it waits, as all does while the record cannot be written. */
  async #write(): Promise<boolean> {
    await othersFirst();
    const runs = this.#waiting.splice(0);
    this.#writing = null;
    try {
      await this.#given.record.commit({ ...nothing, runs });
      return true;
    } catch (thrown) {
      this.#given.log.error({ error: messageOf(thrown) }, 'runs of jobs could not be written');
      return false;
    }
  }

  /** After a gap what was due in it is judged anew from here on: whoever reported then may have found nobody. */
  #looked(held: Held, now: number): void {
    const { lookedAt, plan } = held;
    held.lookedAt = now;
    if (lookedAt !== null && now - lookedAt <= unlookedMsMax) return;
    held.since = { ...held.since, lookingAt: now };
    held.agenda = null;
    this.#keepSince(plan.id, held.since, null);
  }

  #keepSince(jobId: string, since: JobSince, kept: string | null): void {
    const words = sinceText(since);
    if (words !== kept) void this.#given.record.keep(keptName(jobId), words);
  }

  async #runOf(jobId: string, runId: string): Promise<JobRun | null> {
    const known = this.#heldOf(jobId).runs.find(({ id }) => id === runId);
    // What is held has but the last lines of its output.
    if (known?.endedAt === null) return known;
    const kept = await this.#given.record.run(jobId, runId);
    // Told to the house before this one, when this one had read the record already.
    if (kept && !known) this.#hold(kept);
    return kept ?? known ?? null;
  }

  #hold(run: JobRun): void {
    const held = this.#heldOf(run.jobId);
    const others = held.runs.filter(({ id }) => id !== run.id);
    held.runs = pruned(held.plan, [shortened(run), ...others]);
    held.agenda = null;
  }

  /** Nothing has happened in the future. */
  #instant(at: number | null): number {
    const now = this.#given.clock.wallMs();
    return at === null ? now : Math.min(at, now);
  }

  #heldOf(jobId: string): Held {
    const held = this.#held.get(jobId);
    if (!held) throw new Error(`no job ${jobId}`);
    return held;
  }
}

/** As long as a service may go without an answer before the judge takes it for a gap: its interval, half of it, a second. */
const unlookedMsMax = jobLookMs + jobLookMs / 2 + 1_000;

const blank = {
  endedAt: null,
  exit: null,
  sizeBytes: null,
  value: null,
  unit: null,
  tail: null,
} as const;

const nothing = {
  observations: [],
  memories: [],
  spans: [],
  outages: [],
  unconfirmed: [],
  notices: [],
};

function agendaIn(held: Held): Agenda {
  held.agenda ??= agendaOf(held);
  return held.agenda;
}

function keptName(jobId: string): string {
  return `job:${jobId}`;
}

function shortened(run: JobRun): JobRun {
  return run.tail === null ? run : { ...run, tail: lastLines(run.tail, tailInNoticeCharsMax) };
}

/** Those that its state is worked out from: the newest that ended, and those whose end is waited for. */
function pruned(plan: JobPlan, runs: readonly JobRun[]): readonly JobRun[] {
  const newestFirst = runs.toSorted((one, other) => runAt(other) - runAt(one));
  const ended = newestFirst.filter(({ endedAt }) => endedAt !== null).slice(0, runsJudgedCountMax);
  const open = newestFirst
    .filter((run) => run.endedAt === null && latestOpen(plan, [run, ...ended]) === run)
    .slice(0, openRunsCountMax);
  return [...open, ...ended];
}
