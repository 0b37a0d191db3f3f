/** Which channels know that a service is unsteady, and what else goes by what was heard where. Reads the outbox. */
import type { Database } from 'better-sqlite3';
import { steadyType, unsteadyType } from '../../base/notice-types.ts';
import type { Notice } from '../record.ts';

const sumType = 'rollcall.digest';

interface Word {
  readonly channel: string;
  readonly state: string;
  readonly fallbackFor: string | null;
  readonly type: string;
  readonly noticeId: string;
  /** Type of the notice that it was folded into. */
  readonly toldBy: string | null;
}

export interface Knowing {
  /** On each channel that knows, the notice by which it does. */
  readonly words: readonly Pick<Word, 'channel' | 'noticeId'>[];
  /** Those of these channels that know, with those that stood in for one of them; or those that do not. */
  among(channels: readonly string[], doesKnow: boolean): readonly string[];
}

export function knowingOn(database: Database): (serviceId: string | null) => Knowing {
  // There is an index of just these.
  const words = database.prepare<[string | null], Word>(
    `SELECT d.channel, d.state, d.fallback_for AS fallbackFor, n.type, n.id AS noticeId, s.type AS toldBy
     FROM notices n JOIN deliveries d ON d.notice = n.key LEFT JOIN notices s ON s.id = d.folded_into
     WHERE n.service_id = ? AND n.type IN ('${unsteadyType}', '${steadyType}') ORDER BY d.key`,
  );
  return (serviceId) => {
    const last = new Map<string, Word>();
    for (const word of words.all(serviceId)) {
      if (!wasHeard(word)) continue;
      // In the order of what is known now.
      last.delete(word.channel);
      last.set(word.channel, word);
    }
    const known = [...last.values()].filter(({ type }) => type === unsteadyType);
    return {
      words: known,
      among: (channels, doesKnow) =>
        doesKnow
          ? heardOn(known, channels)
          : channels.filter((name) => !known.some(({ channel }) => channel === name)),
    };
  };
}

/** Also as a line of a sum. */
export function wasHeard({ state, toldBy }: Pick<Word, 'state' | 'toldBy'>): boolean {
  return state === 'folded' ? toldBy === sumType : state !== 'withdrawn';
}

/** The channels of a notice that heard, and those that stood in for one of them, over all steps. */
export function heardOn(
  heard: readonly Pick<Word, 'channel' | 'fallbackFor'>[],
  named: readonly string[],
): readonly string[] {
  const carrying = new Set(named);
  // What stood in for another came after it: in the order of creation one pass finds all.
  for (const { channel, fallbackFor } of heard) {
    if (fallbackFor !== null && carrying.has(fallbackFor)) carrying.add(channel);
  }
  return [...carrying].filter((name) => heard.some(({ channel }) => channel === name));
}

/** That it is unsteady is not about one outage: it stays in order with what is told of the service itself. */
export function laneOf({ type, outageId, serviceId, id }: Notice): string {
  const isOfService = type === unsteadyType || type === steadyType;
  return (isOfService ? null : outageId) ?? serviceId ?? id;
}
