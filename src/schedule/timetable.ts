/**
 * The timetable: who is asked next. One timer over a heap of due times; never two rounds of one service
 * at once; never more than `concurrentMax` under way; a service in doubt is asked again early.
 */
import type { Alarm, Clock } from '../base/clock.ts';
import { type Lateness, type LatenessMeter, latenessMeter } from '../base/lateness.ts';
import {
  concurrentProbesCountMax,
  firstAnswersMsMax,
  firstAsksPerSecondMax,
} from '../base/limits.ts';
import { type DueHeap, dueHeap } from './heap.ts';
import { firstDelayMs, nextDue, phaseOf } from './phase.ts';

export interface Entry {
  readonly id: string;
  readonly everyMs: number;
  /** Least time between the starts of two rounds. */
  readonly minGapMs: number;
  /** What was left of that gap when this timetable began, after a restart. */
  readonly waitMs?: number;
}

/** What a round wants of the timetable when it is over. */
export interface Wish {
  /** Ask this service again so soon; null: in its turn. */
  readonly againInMs: number | null;
  /** Leave it alone for so long from the start of this round, unless it is asked again; null: as usual. */
  readonly restMs: number | null;
  /** Ask these at once: what the service needs or is seen through. */
  readonly alsoNow: readonly string[];
}

/** A timer counts whole milliseconds: what is due within one is due. */
const timerMs = 1;

/** Few first turns are spread over this: their answers then come in time. */
const firstSpreadMs = firstAnswersMsMax / 4;

interface Seat {
  entry: Entry;
  phaseMs: number;
  dueMs: number;
  startedMs: number | null;
  /** Not before this instant on behalf of others, nor in its turn. */
  restUntilMs: number;
  running: boolean;
  /** Asked for while a round was under way: due again when that is over. */
  again: boolean;
  listeners: (() => void)[];
}

interface TimetableGiven {
  readonly clock: Clock;
  readonly round: (id: string) => Promise<Wish>;
  /** A defect in a round must not stop the others. */
  readonly onDefect: (id: string, thrown: unknown) => void;
  readonly concurrentMax?: number;
}

export class Timetable {
  readonly #given: TimetableGiven;
  readonly #clock: Clock;
  readonly #concurrentMax: number;
  readonly #seats = new Map<string, Seat>();
  readonly #heap: DueHeap<Seat> = dueHeap();
  readonly #meter: LatenessMeter;
  #alarm: { readonly atMs: number; readonly timer: Alarm } | null = null;
  #running = 0;
  /** Set once the timetable is stopping; called when nothing runs any more. */
  #ended: (() => void) | null = null;
  #stopped: Promise<void> | null = null;

  constructor(given: TimetableGiven) {
    this.#given = given;
    this.#clock = given.clock;
    this.#meter = latenessMeter(given.clock);
    this.#concurrentMax = given.concurrentMax ?? concurrentProbesCountMax;
  }

  /** Takes the place of all entries before. Known ids keep their due time unless their interval changed. */
  replace(entries: readonly Entry[]): void {
    const known = new Map(this.#seats);
    this.#seats.clear();
    const newCount = entries.filter(({ id }) => !known.has(id)).length;
    const spreadMs = Math.max(firstSpreadMs, (newCount * 1_000) / firstAsksPerSecondMax);
    for (const entry of entries) {
      const seat = known.get(entry.id);
      known.delete(entry.id);
      this.#seats.set(entry.id, seat ? this.#reseat(seat, entry) : this.#welcome(entry, spreadMs));
    }
    for (const gone of known.values()) release(gone);
    this.#pump();
  }

  /** Resolves when a round of this service that began after the call is over; at once for an unknown id. */
  askNow(id: string): Promise<void> {
    const seat = this.#seats.get(id);
    if (!seat || this.#ended) return Promise.resolve();
    return new Promise((resolve) => {
      seat.listeners.push(resolve);
      if (seat.running) seat.again = true;
      else this.#bringForward(seat);
      this.#pump();
    });
  }

  /** Whether it keeps up. */
  lateness(): Lateness {
    return this.#meter.lateness();
  }

  /** No more rounds begin; resolves when none is under way. */
  stop(): Promise<void> {
    this.#alarm?.timer.cancel();
    this.#stopped ??= new Promise((resolve) => {
      this.#ended = () => {
        // Nobody is left waiting for a round that will not begin.
        for (const seat of this.#seats.values()) release(seat);
        resolve();
      };
      if (this.#running === 0) this.#ended();
    });
    return this.#stopped;
  }

  /** The first turns of many are spread over `spreadMs`; where that is all of the interval, in their places on the grid. */
  #welcome(entry: Entry, spreadMs: number): Seat {
    const seat = {
      entry,
      phaseMs: phaseOf(entry.id, entry.everyMs),
      dueMs: 0,
      startedMs: null,
      restUntilMs: 0,
      running: false,
      again: false,
      listeners: [],
    };
    const nowMs = this.#clock.monotonicMs();
    const isRoomy = spreadMs < entry.everyMs || spreadMs <= firstSpreadMs;
    const firstMs = isRoomy
      ? nowMs + firstDelayMs(entry.id, entry.everyMs, spreadMs)
      : this.#inTurn(seat);
    this.#put(seat, Math.max(firstMs, nowMs + (entry.waitMs ?? 0)));
    return seat;
  }

  #reseat(seat: Seat, entry: Entry): Seat {
    const moved = seat.entry.everyMs !== entry.everyMs;
    seat.entry = entry;
    if (moved) seat.phaseMs = phaseOf(entry.id, entry.everyMs);
    if (moved && !seat.running) this.#put(seat, this.#inTurn(seat));
    return seat;
  }

  #put(seat: Seat, dueMs: number): void {
    const free = seat.startedMs === null ? dueMs : seat.startedMs + seat.entry.minGapMs;
    seat.dueMs = Math.max(dueMs, free);
    this.#heap.push(seat.dueMs, seat);
  }

  #bringForward(seat: Seat, earliestMs = 0): void {
    const nowMs = Math.max(this.#clock.monotonicMs(), earliestMs);
    if (seat.dueMs > nowMs) this.#put(seat, nowMs);
  }

  /** The service's next instant on its grid, read on the monotonic clock. */
  #inTurn({ entry, phaseMs }: Seat): number {
    const wallMs = this.#clock.wallMs();
    return this.#clock.monotonicMs() + nextDue(phaseMs, entry.everyMs, wallMs) - wallMs;
  }

  /** What is in the heap but no longer true (moved, replaced, under way) is dropped here, lazily. */
  #soonest(): Seat | null {
    for (let top = this.#heap.peek(); top; top = this.#heap.peek()) {
      const { value: seat, dueMs } = top;
      const valid = this.#seats.get(seat.entry.id) === seat && seat.dueMs === dueMs;
      if (valid && !seat.running) return seat;
      this.#heap.pop();
    }
    return null;
  }

  #pump(): void {
    if (this.#ended) return;
    for (let seat = this.#soonest(); seat; seat = this.#soonest()) {
      // Whoever ends first pumps again.
      if (this.#running >= this.#concurrentMax) return;
      const waitMs = seat.dueMs - this.#clock.monotonicMs();
      if (waitMs >= timerMs) {
        this.#wake(seat.dueMs, waitMs);
        return;
      }
      this.#heap.pop();
      void this.#run(seat);
    }
  }

  /** An alarm that is early enough stays as it is: most rounds end without changing who comes next. */
  #wake(atMs: number, waitMs: number): void {
    if (this.#alarm && this.#alarm.atMs <= atMs) return;
    this.#alarm?.timer.cancel();
    const timer = this.#clock.after(waitMs, () => {
      this.#alarm = null;
      this.#pump();
    });
    this.#alarm = { atMs, timer };
  }

  async #run(seat: Seat): Promise<void> {
    seat.startedMs = this.#clock.monotonicMs();
    this.#meter.began(Math.max(seat.startedMs - seat.dueMs, 0), seat.entry.everyMs);
    seat.running = true;
    this.#running++;
    const listeners = seat.listeners.splice(0);
    const wish = await this.#wishOf(seat.entry.id);
    seat.running = false;
    this.#running--;
    this.#seatAgain(seat, wish);
    for (const heard of listeners) heard();
    if (this.#ended && this.#running === 0) this.#ended();
    this.#pump();
  }

  async #wishOf(id: string): Promise<Wish> {
    try {
      return await this.#given.round(id);
    } catch (thrown) {
      this.#given.onDefect(id, thrown);
      return { againInMs: null, restMs: null, alsoNow: [] };
    }
  }

  #seatAgain(seat: Seat, wish: Wish): void {
    seat.restUntilMs = (seat.startedMs ?? 0) + (wish.restMs ?? 0);
    const dueMs = Math.max(this.#inTurn(seat), seat.restUntilMs);
    const soonMs = this.#clock.monotonicMs() + (wish.againInMs ?? Number.POSITIVE_INFINITY);
    this.#put(seat, Math.min(dueMs, soonMs));
    if (seat.again) this.#bringForward(seat);
    seat.again = false;
    for (const id of wish.alsoNow) {
      const other = this.#seats.get(id);
      if (other && !other.running) this.#bringForward(other, other.restUntilMs);
    }
  }
}

function release(seat: Seat): void {
  for (const heard of seat.listeners.splice(0)) heard();
}
