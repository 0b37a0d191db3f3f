/** The answers of one service in order of time, closely packed: years of them are looked through at once. */
import { type Outcome, outcomes } from '../base/values.ts';

export interface Answers {
  readonly count: number;
  /** NaN at and behind `count`. */
  at(place: number): number;
  outcome(place: number): Outcome;
  /** The first place at or after this instant; `count` where there is none. */
  placeAt(instant: number): number;
}

export interface AnswersInTheMaking extends Answers {
  /** In order of time. */
  add(at: number, outcome: Outcome): void;
}

export function packedAnswers(): AnswersInTheMaking {
  let instants = new Float64Array(1_024);
  let kinds = new Uint8Array(1_024);
  let count = 0;
  const grow = (): void => {
    const [before, kindsBefore] = [instants, kinds];
    instants = new Float64Array(2 * before.length);
    instants.set(before);
    kinds = new Uint8Array(2 * kindsBefore.length);
    kinds.set(kindsBefore);
  };
  return {
    get count() {
      return count;
    },
    add: (at, outcome) => {
      if (count === instants.length) grow();
      instants[count] = at;
      kinds[count] = outcomes.indexOf(outcome);
      count++;
    },
    at: (place) => (place < count ? (instants[place] ?? Number.NaN) : Number.NaN),
    outcome: (place) => outcomes[kinds[place] ?? 0] ?? 'unproven',
    placeAt: (instant) => {
      let [low, high] = [0, count];
      while (low < high) {
        const middle = (low + high) >>> 1;
        if ((instants[middle] ?? 0) < instant) low = middle + 1;
        else high = middle;
      }
      return low;
    },
  };
}
