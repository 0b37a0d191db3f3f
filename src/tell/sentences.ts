/**
 * Every sentence that a notice is made of, in plain words: a situation in, one text out.
 * No markup, no time of day (the reader's zone is not known here), no secret: details come cleaned from the probes.
 */
import { sayDuration } from '../base/durations.ts';
import { namesInSentenceCountMax } from '../base/limits.ts';
import { meaningOf } from '../base/reasons.ts';
import type { Trouble } from '../base/values.ts';
import { listed } from '../base/words.ts';

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
  | { readonly kind: 'up'; readonly name: string; readonly afterMs: number | null }
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
      return situation.afterMs === null
        ? `${situation.name} answers again.`
        : `${situation.name} is up again after ${sayDuration(situation.afterMs)}.`;
    case 'normal':
      return `${situation.name} is back to normal.`;
    case 'degraded':
      return situation.afterMs === null
        ? `${situation.name} is degraded${why(situation.trouble)}.`
        : `${situation.name} is up again after ${sayDuration(situation.afterMs)}, but degraded${why(situation.trouble)}.`;
    case 'unobserved':
      return `Nobody can tell whether ${situation.name} is up${why(situation.trouble)}.`;
    case 'test':
      return `This is a test: what Rollcall has to tell reaches you through "${situation.channel}".`;
  }
}

function downAndWhy({ trouble, silentForMs = null }: Situation & { kind: 'down' }): string {
  if (silentForMs === null) return `is down${why(trouble)}`;
  return `is down, as far as anybody can tell: it answered before and has been silent for ${sayDuration(silentForMs)}`;
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
