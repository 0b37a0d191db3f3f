/** What the parts of the news share: what they know, and how what they have to tell goes into the record. */
import type { Clock } from './base/clock.ts';
import { messageOf } from './base/errors.ts';
import type { Happenings } from './base/happenings.ts';
import type { Log } from './base/log.ts';
import type { Standing } from './base/standing.ts';
import type { ServiceCard } from './base/values.ts';
import type { Notice, Record } from './record/record.ts';
import type { ChannelChoice } from './tell/channel.ts';
import type { Asking } from './uptime/missed.ts';

export interface NewsGiven {
  readonly clock: Clock;
  readonly record: Pick<
    Record,
    'commit' | 'keep' | 'kept' | 'spans' | 'outages' | 'unconfirmed' | 'planned' | 'runs'
  >;
  readonly log: Log;
  /** In the order of the roll. */
  readonly cards: readonly ServiceCard[];
  readonly channels: readonly NewsChannel[];
  readonly standingOf: (serviceId: string) => Standing;
  readonly askingOf: (serviceId: string) => Asking;
  /** Each answer, judged, as it comes. */
  readonly listen: Happenings['listen'];
  /** Of the board. */
  readonly title: string;
  /** IANA name. */
  readonly zone: string;
  /** An instant on the clock of the zone, as `14 Dec, 09:14`. */
  readonly sayInstant: (at: number) => string;
  /** A new UUID at each call. */
  readonly newId: () => string;
  /** A notice waits. */
  readonly wake: () => void;
}

export interface NewsChannel extends ChannelChoice {
  readonly digests: readonly ('weekly' | 'monthly')[];
}

/** Words that the record keeps under a name: that something was told. */
export interface Kept {
  readonly name: string;
  readonly words: string;
}

/**
 * In one transaction: what is told, and that it was told; what is only to be remembered is written with the next group. A
 * record that cannot be written keeps it in memory and shows it to reads, so that nothing is told twice by this process.
 */
export async function post(
  { record, log, wake }: Pick<NewsGiven, 'record' | 'log' | 'wake'>,
  notices: readonly Notice[],
  keeps: readonly Kept[],
): Promise<void> {
  try {
    if (notices.length === 0) {
      for (const { name, words } of keeps) await record.keep(name, words);
      return;
    }
    await record.commit({
      ...nothing,
      notices: notices.map((notice) => ({ kind: 'add', notice })),
      keeps,
    });
  } catch (thrown) {
    log.warn({ error: messageOf(thrown) }, 'news could not be recorded and wait in memory');
  }
  for (const { type, serviceId } of notices) log.info({ type, service: serviceId }, 'news to tell');
  wake();
}

const nothing = {
  observations: [],
  memories: [],
  spans: [],
  outages: [],
  unconfirmed: [],
};
