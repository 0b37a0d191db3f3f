/** The sentences of what is worth telling beside the states: certificates, budgets, facts. Part of `sentences.ts`. */
import { sayDuration } from '../base/durations.ts';
import { namesInSentenceCountMax } from '../base/limits.ts';
import { counted, listed } from '../base/words.ts';

/** Instants come as texts on the owner's clock (`14 Dec, 09:14`). */
export type NewsSituation =
  | {
      readonly kind: 'certificate';
      readonly names: readonly string[];
      readonly leftMs: number;
      readonly ends: string;
      /** Told for the second time. */
      readonly isLast: boolean;
    }
  | {
      readonly kind: 'budget';
      readonly name: string;
      /** 0…1 */
      readonly objective: number;
      readonly usedMs: number;
      readonly allowedMs: number;
      readonly outagesCount: number;
      /** `Tuesday`. */
      readonly since: string;
    }
  | { readonly kind: 'facts'; readonly name: string; readonly changes: readonly SaidChange[] };

/** `version`, `15.17`, `15.18`. */
export interface SaidChange {
  readonly word: string;
  readonly before: string;
  readonly after: string;
}

const dayMs = 86_400_000;

export function sayNews(situation: NewsSituation): string {
  switch (situation.kind) {
    case 'certificate': {
      const { names, leftMs, ends, isLast } = situation;
      const whose = listed(names, namesInSentenceCountMax);
      const still = isLast ? ', and no new one has been seen' : '';
      return `The certificate of ${whose} ends in ${sayLeft(leftMs)}, on ${ends}${still}.`;
    }
    case 'budget': {
      const { name, objective, usedMs, allowedMs, outagesCount, since } = situation;
      const share = `${Math.floor((100 * usedMs) / allowedMs)} %`;
      const goal = `${Number((100 * objective).toFixed(4))} %`;
      const times = `${sayDuration(usedMs)} of ${sayDuration(allowedMs)}`;
      return `${name} has used ${share} of the down time that ${goal} allows in 30 days (${times}), in ${counted(outagesCount, 'outage')} since ${since}.`;
    }
    case 'facts': {
      const changes = situation.changes.map(
        ({ word, before, after }) => `${word} ${after} in place of ${before}`,
      );
      return `${situation.name} says something else of itself: ${listed(changes, changes.length)}.`;
    }
  }
}

/** Whole days, as people count them; below two days the hours. */
function sayLeft(leftMs: number): string {
  const days = Math.floor(leftMs / dayMs);
  return days < 2 ? sayDuration(leftMs) : `${days} days`;
}
