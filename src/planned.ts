/**
 * Planned time as it goes by: windows of the configuration and those that were declared go on record as they begin, with
 * the notice that tells it, and are told again as they end. What is on record stays as it is, whatever becomes of the
 * configuration; what is to come follows it. A schedule's window that began while nobody watched is put on record
 * afterwards; of one that was not known while somebody watched only the rest counts.
 */
import type { Alarm, Clock } from './base/clock.ts';
import { messageOf, RollcallError } from './base/errors.ts';
import type { Log } from './base/log.ts';
import { inOrderOfTime, isOf, type PlannedStretch, plannedAround } from './base/planned-time.ts';
import type { PlannedRule, PlannedWindow } from './base/values.ts';
import { endComplaint, idsIn, type PlannedAsked, planComplaint } from './planned-asked.ts';
import { type HeldGiven, heldKept, heldSince } from './planned-held.ts';
import type { ChangeSet, NoticeEdit, Range, Record } from './record/record.ts';
import { type PlannedCourse, plannedCourse } from './schedule/planned.ts';
import { heldMoves } from './tell/planned-hold.ts';
import {
  beganNotice,
  cardsOf,
  endedNotice,
  type PlannedDesk,
  remainingNotice,
} from './tell/planned-notices.ts';

export interface PlannedGiven extends PlannedDesk {
  readonly clock: Clock;
  readonly log: Log;
  readonly record: Pick<Record, 'planned' | 'commit' | 'lastPulse' | 'kept' | 'outages'>;
  readonly rules: readonly PlannedRule[];
  /** Notices wait. */
  readonly wake: () => void;
}

const dayMs = 24 * 3_600_000;
/** So far ahead windows are worked out, and so far back those on record are known. */
const horizonMs = 8 * dayMs;
/** After a longer stop what began before this is left out. */
const missedMsMax = 31 * dayMs;
/** The wall clock is looked at this often: it may be set, and the machine may sleep. */
const lookMs = 60_000;
const freshMs = 3_600_000;
/** Of one rule, within the horizon. */
const windowsCountMax = 1_000;
/** Ids of the windows of which it was told that they began: words that the record keeps. */
const runningName = 'planned:running';
const declaredName = 'Planned work';
/** So old "from now on" may be when it comes here. */
const onItsWayMsMax = 5_000;

export class Planned {
  readonly #given: PlannedGiven;
  readonly #course: PlannedCourse;
  /** By id. */
  readonly #onRecord = new Map<string, PlannedWindow>();
  /** Those on record and those to come, in order. */
  #windows: readonly PlannedWindow[] = [];
  #freshUntil = Number.NEGATIVE_INFINITY;
  #running: readonly string[] = [];
  /** Up to here what begins is on record; null: nobody ever watched. */
  #seenUntil: number | null = null;
  #alarm: Alarm | null = null;
  #isStopped = false;
  #turn: Promise<unknown> = Promise.resolve();

  constructor(given: PlannedGiven) {
    this.#given = given;
    this.#course = plannedCourse(given.rules);
  }

  /** Reads what the record knows; nothing is told or written yet. */
  async recall(): Promise<void> {
    const { record, clock } = this.#given;
    const now = clock.wallMs();
    const pulse = await record.lastPulse();
    this.#seenUntil =
      pulse === null ? null : Math.max(Math.min(pulse.wallMs, now), now - missedMsMax);
    const known = await record.planned({
      from: now - missedMsMax - horizonMs,
      to: Number.MAX_SAFE_INTEGER,
    });
    for (const window of known) this.#onRecord.set(window.id, window);
    this.#running = idsIn(await record.kept(runningName));
    this.#refresh(now);
  }

  /** From now on windows begin and end. */
  async begin(): Promise<void> {
    await this.#inTurn(async () => {
      const now = this.#given.clock.wallMs();
      const notices = await heldSince(this.#given.record, this.#heldAt(now));
      if (notices.length > 0) await this.#commit({ notices });
      await this.#look();
    });
  }

  async stop(): Promise<void> {
    this.#isStopped = true;
    this.#alarm?.cancel();
    await this.#turn;
  }

  /** The planned time of a service around this instant, which is not far from now; null: it is in none. */
  around(serviceId: string, at: number): PlannedStretch | null {
    return plannedAround(this.#windows, serviceId, at);
  }

  /** Those that run now, in the order in which they began. */
  running(): readonly PlannedWindow[] {
    const now = this.#given.clock.wallMs();
    return this.#windows.filter(({ from, to }) => from <= now && now < to);
  }

  /** That touch the range, in order: on record, and to come by the configuration as it is. */
  async between(range: Range): Promise<readonly PlannedWindow[]> {
    const known = await this.#given.record.planned(range);
    const from = Math.max(range.from, this.#given.clock.wallMs());
    const toCome = this.#course
      .touching(from, Math.max(range.to, from), windowsCountMax)
      .filter(({ id }) => !this.#onRecord.has(id) && !known.some((window) => window.id === id));
    return inOrderOfTime([...known, ...toCome]);
  }

  /** Throws a RollcallError `usage` where that cannot be planned. */
  plan(asked: PlannedAsked): Promise<PlannedWindow> {
    return this.#inTurn(async () => {
      const now = this.#given.clock.wallMs();
      const from = asked.from < now - onItsWayMsMax ? now : asked.from;
      const complaint = planComplaint({ ...asked, from }, this.#windows, now);
      if (complaint !== null) throw new RollcallError('usage', complaint);
      const { why, to, serviceIds } = asked;
      const own = { id: this.#given.newId(), name: declaredName, origin: 'declared' } as const;
      const window = { ...own, why, from, to, serviceIds };
      await this.#rewrite([window], now);
      if (this.#alarm) await this.#look();
      return window;
    });
  }

  /**
   * Ends now what runs (null: all of it, else the one of this id), and takes back one that was declared and is to come.
   * Throws a RollcallError `usage` where there is none such.
   */
  end(id: string | null): Promise<readonly PlannedWindow[]> {
    return this.#inTurn(async () => {
      const now = this.#given.clock.wallMs();
      const chosen =
        id === null ? this.running() : this.#windows.filter((one) => one.id === id && one.to > now);
      const complaint = endComplaint(chosen, now);
      if (complaint !== null) throw new RollcallError('usage', complaint);
      const ended = chosen.map((window) => {
        const begun = this.#clipped(window);
        return { ...begun, to: begun.from > now ? begun.from : Math.max(now, begun.from + 1) };
      });
      await this.#rewrite(ended, now);
      if (this.#alarm) await this.#look();
      return ended;
    });
  }

  /** Puts windows on record in place of those of their ids; what is held until the end of planned time moves along. */
  async #rewrite(windows: readonly PlannedWindow[], now: number): Promise<void> {
    const before = this.#windows;
    this.#keep(windows);
    this.#refresh(now);
    const ids = this.#given.cards.map(({ id }) => id);
    const notices = heldMoves(
      ids,
      (id) => plannedAround(before, id, now)?.to ?? null,
      (id) => this.around(id, now)?.to ?? now,
    );
    await this.#commit({ planned: windows, notices });
    this.#given.wake();
  }

  /** What began and what ended since the last look: on record, and told. */
  async #look(): Promise<void> {
    const now = this.#given.clock.wallMs();
    const begun = this.#course
      .touching(Math.min(this.#seenUntil ?? now, now), now + 1, windowsCountMax)
      .filter(({ id }) => !this.#onRecord.has(id))
      .map((window) => this.#clipped(window));
    this.#keep(begun);
    const known = [...this.#onRecord.values()];
    const beginning = known.filter(
      ({ id, from, to }) => from <= now && now < to && !this.#running.includes(id),
    );
    const ended = known.filter(({ id, to }) => to <= now && this.#running.includes(id));
    if (begun.length > 0 || now >= this.#freshUntil) this.#refresh(now);
    if (begun.length + beginning.length + ended.length > 0) {
      this.#running = [...this.#running, ...beginning.map(({ id }) => id)].filter((id) => {
        return (this.#onRecord.get(id)?.to ?? now) > now;
      });
      const notices = this.#told(beginning, ended, now);
      const keeps = [{ name: runningName, words: JSON.stringify(this.#running) }];
      await this.#commit({ planned: begun, notices, keeps });
      if (notices.length > 0) this.#given.wake();
    }
    this.#seenUntil = now;
    this.#arm(now);
  }

  #told(
    beginning: readonly PlannedWindow[],
    ended: readonly PlannedWindow[],
    now: number,
  ): readonly NoticeEdit[] {
    const isPlanned = (id: string) => this.around(id, now) !== null;
    const over = this.#given.cards.filter(
      ({ id }) => !isPlanned(id) && ended.some((window) => isOf(window, id)),
    );
    const notices = [
      ...beginning.map((window) => beganNotice(this.#given, window, now)),
      ...ended.map((window) => endedNotice(this.#given, window, { now, isPlanned })),
      ...over.map((card) => {
        const ends = ended.filter((window) => isOf(window, card.id)).map(({ to }) => to);
        const plannedFrom = this.around(card.id, Math.max(...ends) - 1)?.from ?? now;
        return remainingNotice(this.#given, card, { plannedFrom, now });
      }),
    ];
    for (const window of beginning) this.#log(window, 'planned work begins');
    for (const window of ended) this.#log(window, 'planned work is over');
    return notices.flatMap((notice) => (notice ? [{ kind: 'add', notice } as const] : []));
  }

  #log(window: PlannedWindow, text: string): void {
    const { name, from, to, origin } = window;
    const services = cardsOf(this.#given, window).length;
    this.#given.log.info({ planned: name, from, to, origin, services }, text);
  }

  /** A window that nobody knew of while somebody watched covers nothing of that time. */
  #clipped(window: PlannedWindow): PlannedWindow {
    const seen = this.#seenUntil;
    if (seen === null || window.from >= seen || this.#onRecord.has(window.id)) return window;
    return { ...window, from: Math.min(seen, window.to - 1) };
  }

  #keep(windows: readonly PlannedWindow[]): void {
    for (const window of windows) {
      if (window.to > window.from) this.#onRecord.set(window.id, window);
      else this.#onRecord.delete(window.id);
    }
  }

  #refresh(now: number): void {
    for (const { id, to } of this.#onRecord.values()) {
      if (to < now - missedMsMax - horizonMs && !this.#running.includes(id))
        this.#onRecord.delete(id);
    }
    const toCome = this.#course
      .touching(now, now + horizonMs, windowsCountMax)
      .filter(({ id }) => !this.#onRecord.has(id));
    // Of what is over only the last day: whoever asks what is planned asks often.
    const recent = [...this.#onRecord.values()].filter(({ to }) => to > now - dayMs);
    this.#windows = inOrderOfTime([...recent, ...toCome]);
    this.#freshUntil = now + freshMs;
  }

  /** To the next begin or end, but no further than the next look at the clock; not at all where nothing is planned. */
  #arm(now: number): void {
    this.#alarm?.cancel();
    if (this.#isStopped) return;
    const edges = this.#windows.flatMap(({ from, to }) => [from, to]).filter((at) => at > now);
    const isIdle = this.#given.rules.length === 0 && edges.length === 0;
    const waitMs = isIdle ? freshMs : Math.min(...edges.map((at) => at - now), lookMs);
    this.#alarm = this.#given.clock.after(waitMs, () => {
      this.#inTurn(() => this.#look()).catch((thrown: unknown) => {
        this.#given.log.error(
          { error: messageOf(thrown) },
          'planned work could not be looked after',
        );
        this.#arm(this.#given.clock.wallMs());
      });
    });
  }

  #heldAt(now: number): HeldGiven {
    const serviceIds = this.#given.cards.map(({ id }) => id);
    return { serviceIds, now, untilOf: (id) => this.around(id, now)?.to ?? null };
  }

  /** What could not be written waits in the record, and is done again from there. */
  async #commit(changes: Partial<ChangeSet> & Pick<ChangeSet, 'notices'>): Promise<void> {
    const keeps = [...(changes.keeps ?? []), heldKept(this.#heldAt(this.#given.clock.wallMs()))];
    try {
      await this.#given.record.commit({ ...nothing, ...changes, keeps });
    } catch (thrown) {
      this.#given.log.error({ error: messageOf(thrown) }, 'the record could not be written');
    }
  }

  #inTurn<Value>(work: () => Promise<Value>): Promise<Value> {
    const turn = this.#turn.then(work, work);
    this.#turn = turn.catch(() => undefined);
    return turn;
  }
}

const nothing = { observations: [], memories: [], spans: [], outages: [], unconfirmed: [] };
