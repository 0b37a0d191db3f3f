/**
 * Every sentence that a notice is made of, in plain words: a situation in, one text out.
 * No markup; instants come as texts, because the reader's zone is not known here; no secret: details come cleaned from
 * the probes.
 */
import { sayDuration } from '../base/durations.ts';
import { namesInSentenceCountMax } from '../base/limits.ts';
import { meaningOf } from '../base/reasons.ts';
import type { State, Trouble } from '../base/values.ts';
import { listed } from '../base/words.ts';
import { type NewsSituation, sayNews } from './news-sentences.ts';

/** Names are those that people gave; `affected` in the order in which they are to be listed. */
export type Situation =
  | {
      readonly kind: 'down';
      readonly name: string;
      readonly trouble: Trouble | null;
      readonly affected: readonly string[];
      /** Since the last answer, where its protocol allows silence: then that it is down is inferred, and said so. */
      readonly silentForMs?: number | null;
    }
  /** Down because something that it needs is down, told to those who did not hear of that. */
  | { readonly kind: 'down-behind'; readonly name: string; readonly cause: string }
  /** What explained its outage is over, and it is down all the same. */
  | {
      readonly kind: 'still-down';
      readonly name: string;
      readonly cause: string;
      readonly trouble: Trouble | null;
      readonly affected: readonly string[];
    }
  /** `afterMs`: how long it was down; null when it was not. */
  | {
      readonly kind: 'up';
      readonly name: string;
      readonly afterMs: number | null;
      /** It runs; it does not answer. */
      readonly isJob?: boolean;
    }
  /** From degraded. */
  | { readonly kind: 'normal'; readonly name: string }
  /** `afterMs`: how long it was down before; null when it was not. */
  | {
      readonly kind: 'degraded';
      readonly name: string;
      readonly trouble: Trouble | null;
      readonly afterMs: number | null;
    }
  | { readonly kind: 'unobserved'; readonly name: string; readonly trouble: Trouble | null }
  /** It changed for the worse `count` times; `areOutages`: each time it went down. `state`: how it stands now. */
  | {
      readonly kind: 'unsteady';
      readonly name: string;
      readonly count: number;
      readonly withinMs: number;
      readonly areOutages: boolean;
      readonly state: State;
      readonly trouble: Trouble | null;
      readonly silentForMs: number | null;
      readonly affected: readonly string[];
    }
  /** `forMs`: how long it has been in that state; `cause`: what it needs and is down. */
  | {
      readonly kind: 'steady';
      readonly name: string;
      readonly state: State;
      readonly forMs: number;
      readonly trouble: Trouble | null;
      readonly cause: string | null;
      readonly affected: readonly string[];
    }
  | NewsSituation
  /** It lasts, and was told before. */
  | {
      readonly kind: 'reminder';
      readonly name: string;
      readonly forMs: number;
      readonly trouble: Trouble | null;
    }
  | { readonly kind: 'test'; readonly channel: string };

/** The one sentence of a notice. */
export function say(situation: Situation): string {
  switch (situation.kind) {
    case 'down':
      return `${situation.name} ${downAndWhy(situation)}${needIt(situation.affected)}.`;
    case 'down-behind':
      return `${situation.name} is down: it needs ${situation.cause}, which is down.`;
    case 'still-down': {
      const { name, cause, trouble, affected } = situation;
      return `${name} is still down now that ${cause} answers again${why(trouble)}${needIt(affected)}.`;
    }
    case 'up':
      return sayUp(situation);
    case 'normal':
      return `${situation.name} is back to normal.`;
    case 'degraded':
      if (situation.trouble?.layer === 'job') return sayPoorJob(situation);
      return situation.afterMs === null
        ? `${situation.name} is degraded${why(situation.trouble)}.`
        : `${situation.name} is up again after ${sayDuration(situation.afterMs)}, but degraded${why(situation.trouble)}.`;
    case 'unobserved':
      return `Nobody can tell whether ${situation.name} is up${why(situation.trouble)}.`;
    case 'unsteady':
      // What it is now first: the end may be cut off in a subject.
      return `${situation.name} ${oftenWorse(situation)} and is unsteady. Now ${standsNow(situation)}. Single changes are held back until it is steady again.`;
    case 'steady':
      return `${situation.name} is steady again${standsAgain(situation)}.`;
    case 'certificate':
    case 'budget':
    case 'facts':
      return sayNews(situation);
    case 'reminder': {
      const { name, forMs, trouble } = situation;
      const lasts = trouble?.layer === 'job' ? 'has been failing' : 'has been down';
      return `${name} ${lasts} for ${sayDuration(forMs)}${why(trouble)}.`;
    }
    case 'test':
      return `This is a test: what Rollcall has to tell reaches you through "${situation.channel}".`;
  }
}

function downAndWhy({ trouble, silentForMs = null }: Situation & { kind: 'down' }): string {
  if (trouble?.layer === 'job') return `${jobWord(trouble)}${why(trouble)}`;
  if (silentForMs === null) return `is down${why(trouble)}`;
  return `is down, as far as anybody can tell: it answered before and has been silent for ${sayDuration(silentForMs)}`;
}

function sayUp({ name, afterMs, isJob = false }: Situation & { kind: 'up' }): string {
  const again = isJob ? 'is in order again' : 'is up again';
  if (afterMs !== null) return `${name} ${again} after ${sayDuration(afterMs)}.`;
  return isJob ? `${name} reports again.` : `${name} answers again.`;
}

/** A job that does its work, but not as usual. */
function sayPoorJob({ name, trouble, afterMs }: Situation & { kind: 'degraded' }): string {
  const again = afterMs === null ? '' : ` again after ${sayDuration(afterMs)}`;
  return `${name} works${again}, but not as usual${why(trouble)}.`;
}

function jobWord({ reason }: Trouble): string {
  switch (reason) {
    case 'overdue':
      return 'is overdue';
    case 'hanging':
      return 'hangs';
    default:
      return 'failed';
  }
}

/** `went down 3 times within 12 min`. */
function oftenWorse({ count, withinMs, areOutages }: Situation & { kind: 'unsteady' }): string {
  const what = areOutages ? 'went down' : 'changed for the worse';
  if (count < 2) return `${what} again and again`;
  return `${what} ${count === 2 ? 'twice' : `${count} times`} within ${sayDuration(withinMs)}`;
}

function standsNow(situation: Situation & { kind: 'unsteady' }): string {
  const { state, trouble, affected } = situation;
  if (state === 'unobserved') return `nobody can tell whether it is up${why(trouble)}`;
  if (state === 'down') {
    return `it ${downAndWhy({ ...situation, kind: 'down' })}${needIt(affected)}`;
  }
  return `it is ${state}${state === 'up' ? '' : why(trouble)}`;
}

function standsAgain(situation: Situation & { kind: 'steady' }): string {
  const { state, forMs, trouble, cause, affected } = situation;
  const stands = forMs < 1_000 ? `is ${state}` : `has been ${state} for ${sayDuration(forMs)}`;
  switch (state) {
    case 'up':
      return `: it ${stands}`;
    case 'degraded':
      return `, but it ${stands}${why(trouble)}`;
    case 'down':
      return cause === null
        ? `, but it ${stands}${why(trouble)}${needIt(affected)}`
        : `, but it ${stands}: it needs ${cause}, which is down`;
    case 'unobserved':
      return `, but nobody can tell whether it is up${why(trouble)}`;
  }
}

/** `: nothing listens on …`; what the probe saw, or what the reason means. */
function why(trouble: Trouble | null): string {
  if (!trouble) return '';
  // The full stop is set by the sentence around it.
  const detail = trouble.detail.trim().replace(/[.\s]+$/, '');
  return `: ${detail === '' ? meaningOf(trouble.reason).sentence : detail}`;
}

function needIt(affected: readonly string[]): string {
  if (affected.length === 0) return '';
  return `; ${listed(affected, namesInSentenceCountMax)} ${affected.length === 1 ? 'needs' : 'need'} it`;
}
