/** The sentences about planned work: beside those of `sentences.ts`, and by the same rules. */
import { sayDuration } from '../base/durations.ts';
import { namesInSentenceCountMax } from '../base/limits.ts';
import type { State } from '../base/values.ts';
import { listed } from '../base/words.ts';

export interface Unwell {
  readonly name: string;
  readonly state: Exclude<State, 'up'>;
  readonly isJob: boolean;
}

export type PlannedSituation =
  | {
      readonly kind: 'began';
      /** Null: declared on the spot, without a name. */
      readonly work: string | null;
      readonly why: string | null;
      /** Names; null: every service. */
      readonly services: readonly string[] | null;
      /** From now on. */
      readonly forMs: number;
    }
  | {
      readonly kind: 'ended';
      readonly work: string | null;
      readonly services: readonly string[] | null;
      /** Of its services those that are not up. */
      readonly unwell: readonly Unwell[];
    }
  /** What was held back in planned time is told at its end. `summary`: the sentence that was held. */
  | { readonly kind: 'over'; readonly name: string; readonly summary: string };

export function sayPlanned(situation: PlannedSituation): string {
  switch (situation.kind) {
    case 'began': {
      const { work, why, services, forMs } = situation;
      const where = `${sayServices(services)}, for ${sayDuration(forMs)}`;
      if (work === null) return `Planned work begins on ${where}${why === null ? '' : `: ${why}`}.`;
      return `Planned work begins: ${work}${why === null ? '' : ` (${why})`}, on ${where}.`;
    }
    case 'ended': {
      const { work, services } = situation;
      const what = work === null ? '' : `: ${work},`;
      return `Planned work is over${what} on ${sayServices(services)}. ${sayWell(situation)}`;
    }
    case 'over':
      return `The planned time is over: ${sayStill(situation.name, situation.summary)}`;
  }
}

function sayServices(names: readonly string[] | null): string {
  return names === null ? 'every service' : listed(names, namesInSentenceCountMax);
}

function sayWell({ unwell, services }: PlannedSituation & { kind: 'ended' }): string {
  if (unwell.length === 0) return services?.length === 1 ? 'It is up.' : 'All of them are up.';
  return `Not well: ${listed(unwell.map(sayUnwell), namesInSentenceCountMax)}.`;
}

function sayUnwell({ name, state, isJob }: Unwell): string {
  if (state === 'unobserved') return `${name} is not observed`;
  if (!isJob) return `${name} is ${state}`;
  return state === 'down' ? `${name} is failing` : `${name} does not work as usual`;
}

function sayStill(name: string, summary: string): string {
  const down = `${name} is down`;
  return summary.startsWith(down) ? `${name} is still down${summary.slice(down.length)}` : summary;
}
