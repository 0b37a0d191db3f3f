/**
 * What goes out on another channel because its own does not take it: once a delivery has failed for five minutes, all
 * that is due there; and what is given up there, at once. Told once a notice; the first channel keeps trying. Where the
 * other one does not take it either, its own fallback follows by the same rule.
 */
import type { Clock } from '../base/clock.ts';
import { messageOf } from '../base/errors.ts';
import { deadLetterAfterMs, fallbackAfterMs } from '../base/limits.ts';
import type { Log } from '../base/log.ts';
import type { DeliveryReport, NoticeEdit, Quiet, Record } from '../record/record.ts';
import { passes } from './quiet.ts';

export interface FallbackChannel {
  readonly name: string;
  /** Name of another channel; null or absent: none. */
  readonly fallback?: string | null;
}

export interface FallbackParts {
  readonly record: Pick<Record, 'undelivered' | 'commit'>;
  readonly channels: readonly FallbackChannel[];
  readonly clock: Clock;
  readonly log: Log;
}

export interface Fallbacks {
  /** An attempt on this channel came to nothing: it is looked at from now on. */
  failed(channel: string): void;
  /** Sends on what has to be. Gives when it is to be looked at again; null: not before another attempt fails. */
  divert(quiet: readonly Quiet[]): Promise<number | null>;
}

export function createFallbacks({ record, channels, clock, log }: FallbackParts): Fallbacks {
  const ways = channels.flatMap(({ name, fallback }) => (fallback ? [{ name, fallback }] : []));
  // Those of earlier runs are not known yet.
  const suspects = new Set(ways.map(({ name }) => name));

  return {
    failed: (channel) => void suspects.add(channel),
    divert: async (quiet) => {
      let againAt: number | null = null;
      for (const way of ways) {
        if (!suspects.has(way.name)) continue;
        const now = clock.wallMs();
        const reports = await record.undelivered(way.name, now - deadLetterAfterMs);
        const { edits, againAt: next } = diverted(reports, { ...way, now, quiet });
        if (!reports.some(isTried)) suspects.delete(way.name);
        if (next !== null) againAt = Math.min(againAt ?? next, next);
        if (edits.length === 0) continue;
        log.warn({ channel: way.name, fallback: way.fallback, notices: edits.length }, 'sent on');
        await record.commit({ ...nothing, notices: edits }).catch((thrown: unknown) => {
          log.warn({ error: messageOf(thrown) }, 'what was sent on could not be recorded');
        });
      }
      return againAt;
    },
  };
}

const nothing = { observations: [], memories: [], spans: [], outages: [], unconfirmed: [] };

interface Way {
  readonly name: string;
  readonly fallback: string;
  readonly now: number;
  readonly quiet: readonly Quiet[];
}

/** Pure. `againAt`: when what fails now has failed long enough. */
export function diverted(
  reports: readonly DeliveryReport[],
  { name, fallback, now, quiet }: Way,
): { readonly edits: readonly NoticeEdit[]; readonly againAt: number | null } {
  const sinceAt = reports.filter(isTried).map(({ attempts }) => attempts[0]?.at ?? now);
  const longAt = sinceAt.length === 0 ? null : Math.min(...sinceAt) + fallbackAfterMs;
  const isStuck = longAt !== null && longAt <= now;
  const hush = quiet.find(({ channel }) => channel === name);
  const edits = reports.flatMap(({ notice, state }): readonly NoticeEdit[] => {
    if (notice.channels.includes(fallback)) return [];
    const isKept = notice.notBefore > now || (hush && !passes(notice, hush.serviceIds));
    if (state === 'waiting' && (!isStuck || isKept)) return [];
    return [{ kind: 'divert', noticeId: notice.id, from: name, to: fallback, at: now }];
  });
  return { edits, againAt: isStuck ? null : longAt };
}

/** Tried in vain, and still to be tried. */
function isTried({ state, attempts }: DeliveryReport): boolean {
  return state === 'waiting' && attempts.length > 0;
}
