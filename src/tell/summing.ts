/**
 * Quiet hours at work: says which channels hold back what at an instant, and where quiet is over and more than one
 * notice waited for that, folds them into one sum, in one transaction. What waits is in the record alone: a restart
 * loses nothing, and where a reload takes the quiet hours away, everything goes out as it is.
 */
import type { Clock } from '../base/clock.ts';
import { messageOf } from '../base/errors.ts';
import type { Log } from '../base/log.ts';
import type { DeliveryReport, NoticeEdit, Quiet, Record } from '../record/record.ts';
import {
  heldBack,
  passes,
  type QuietChannel,
  type QuietState,
  quietAt,
  type Stretch,
} from './quiet.ts';
import { sumOf } from './sum.ts';

/** What telling needs to know beside the channels. */
export interface QuietWays {
  /** IANA name: the clock by which quiet hours go. */
  readonly zone: string;
  /** Ids of the services that are told of in quiet hours as well. */
  readonly urgentIds: readonly string[];
  /** As in `SumGiven`. */
  readonly sayInstant: (at: number, now: number) => string;
  /** A new UUID at each call. */
  readonly newId: () => string;
}

export interface SummingParts {
  readonly record: Pick<Record, 'undelivered' | 'commit' | 'outage'>;
  readonly channels: readonly QuietChannel[];
  readonly clock: Clock;
  readonly log: Log;
  readonly ways: QuietWays;
}

export interface Summing {
  /** What is to be kept back now. */
  held(): readonly Quiet[];
  /** When that changes next; null: never. */
  changesAt(): number | null;
  /** Sums up what waited, where quiet is over since the last call. */
  sumUp(): Promise<void>;
}

export function createSumming(parts: SummingParts): Summing {
  const { record, channels, clock, log, ways } = parts;
  const hushed = channels.flatMap(({ name, quiet }) =>
    quiet ? [{ name, stateAt: keptWhile((at) => quietAt(at, quiet, ways.zone)) }] : [],
  );
  /** By channel: the end of the stretch after which was summed up. */
  const summed = new Map<string, number>();

  const sumUp = async (name: string, last: Stretch): Promise<void> => {
    const now = clock.wallMs();
    const waiting = await record.undelivered(name, now);
    const endedAt = await endsOf(record, waiting);
    const edit = summingUp(waiting, { channel: name, last, now, ways, endedAt });
    if (edit === null) return;
    log.info({ channel: name, notices: edit.noticeIds.length }, 'quiet is over: summed up');
    try {
      await record.commit({ ...nothing, notices: [edit] });
    } catch (thrown) {
      // It waits in memory with everything else, and goes out from there.
      log.warn({ error: messageOf(thrown) }, 'a sum could not be recorded');
    }
  };
  return {
    held: () => {
      const now = clock.wallMs();
      return hushed
        .filter(({ stateAt }) => stateAt(now).isQuiet)
        .map(({ name }) => heldBack(name, ways.urgentIds));
    },
    changesAt: () => {
      const now = clock.wallMs();
      const instants = hushed.map(({ stateAt }) => stateAt(now).changesAt);
      return instants.length === 0 ? null : Math.min(...instants);
    },
    sumUp: async () => {
      const now = clock.wallMs();
      for (const { name, stateAt } of hushed) {
        const { last, isQuiet } = stateAt(now);
        if (isQuiet || last === null || summed.get(name) === last.to) continue;
        await sumUp(name, last);
        summed.set(name, last.to);
      }
    },
  };
}

/** Not worked out again before it changes, nor after the clock was set back. */
function keptWhile(stateAt: (at: number) => QuietState): (at: number) => QuietState {
  let kept: { readonly since: number; readonly state: QuietState } | null = null;
  return (at) => {
    if (kept === null || at < kept.since || at >= kept.state.changesAt) {
      kept = { since: at, state: stateAt(at) };
    }
    return kept.state;
  };
}

/** Of the outages that these are about, and that are over: when they ended. */
async function endsOf(
  record: Pick<Record, 'outage'>,
  waiting: readonly DeliveryReport[],
): Promise<ReadonlyMap<string, number>> {
  const ends = new Map<string, number>();
  for (const id of new Set(waiting.flatMap(({ notice }) => notice.outageId ?? []))) {
    const restoredAt = (await record.outage(id))?.restoredAt ?? null;
    if (restoredAt !== null) ends.set(id, restoredAt);
  }
  return ends;
}

type Summed = NoticeEdit & { readonly kind: 'sum' };

/** Null: nothing waited for the end of this stretch, or one alone that still holds, which goes out as it is. */
function summingUp(
  waiting: readonly DeliveryReport[],
  given: {
    readonly channel: string;
    readonly last: Stretch;
    readonly now: number;
    readonly ways: QuietWays;
    readonly endedAt: ReadonlyMap<string, number>;
  },
): Summed | null {
  const { channel, last, now, ways, endedAt } = given;
  const due = waiting.filter(({ notice, state }) => {
    if (state !== 'waiting' || notice.notBefore > now) return false;
    return notice.type !== 'rollcall.digest' && !passes(notice, ways.urgentIds);
  });
  const kept = due.filter(({ notice }) => notice.notBefore < last.to);
  const [only] = kept;
  if (!only || (kept.length === 1 && !isOutdated(only, endedAt))) return null;
  // What came since then as well: it would overtake the sum, or tell what is in it again.
  const notices = due.map(({ notice }) => notice);
  return {
    kind: 'sum',
    channel,
    noticeIds: notices.map(({ id }) => id),
    notice: {
      id: ways.newId(),
      type: 'rollcall.digest',
      at: now,
      serviceId: null,
      outageId: null,
      notBefore: now,
      data: sumOf({ notices, stretch: last, endedAt, sayInstant: ways.sayInstant }),
      channels: [channel],
    },
  };
}

/** It says that something is down which has come back since, and nobody waits to say that. */
function isOutdated({ notice }: DeliveryReport, endedAt: ReadonlyMap<string, number>): boolean {
  return notice.type === 'rollcall.service.down' && endedAt.has(notice.outageId ?? '');
}

const nothing = { observations: [], memories: [], spans: [], outages: [], unconfirmed: [] };
