/** The sentences about planned work: beside those of `sentences.ts`, and by the same rules. */
import { sayDuration } from '../base/durations.ts';
import { namesInSentenceCountMax } from '../base/limits.ts';
import type { State } from '../base/values.ts';
import { listed } from '../base/words.ts';

export type PlannedSituation =
  | {
      readonly kind: 'began';
      readonly work: string;
      readonly why: string | null;
      /** Names; null: every service. */
      readonly services: readonly string[] | null;
      /** From now on. */
      readonly forMs: number;
    }
  | {
      readonly kind: 'ended';
      readonly work: string;
      readonly services: readonly string[] | null;
      /** Of its services those that are not up. */
      readonly unwell: readonly { readonly name: string; readonly state: Exclude<State, 'up'> }[];
    }
  /** What was held back in planned time is told at its end. `summary`: the sentence that was held. */
  | { readonly kind: 'over'; readonly name: string; readonly summary: string };

export function sayPlanned(situation: PlannedSituation): string {
  switch (situation.kind) {
    case 'began': {
      const { work, why, services, forMs } = situation;
      const reason = why === null ? '' : ` (${why})`;
      return `Planned work begins: ${work}${reason}, on ${sayServices(services)}, for ${sayDuration(forMs)}.`;
    }
    case 'ended': {
      const { work, services, unwell } = situation;
      return `Planned work is over: ${work}, on ${sayServices(services)}. ${sayUnwell(unwell)}`;
    }
    case 'over':
      return `The planned time is over: ${sayStill(situation.name, situation.summary)}`;
  }
}

function sayServices(names: readonly string[] | null): string {
  return names === null ? 'every service' : listed(names, namesInSentenceCountMax);
}

function sayUnwell(unwell: readonly { readonly name: string; readonly state: State }[]): string {
  if (unwell.length === 0) return 'Everything on it is up.';
  const words = unwell.map(({ name, state }) => {
    return state === 'unobserved' ? `${name} is not observed` : `${name} is ${state}`;
  });
  return `Not well: ${listed(words, namesInSentenceCountMax)}.`;
}

function sayStill(name: string, summary: string): string {
  const down = `${name} is down`;
  return summary.startsWith(down) ? `${name} is still down${summary.slice(down.length)}` : summary;
}
