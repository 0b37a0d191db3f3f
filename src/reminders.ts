/**
 * Reminds of outages that last, channel by channel, until somebody says "I know": looks at those that are open when the
 * next reminder is due, and once a minute. Nobody is reminded of what lies behind a cause, is meant to be down, or cannot
 * be seen now; nor, in quiet hours, of what is not urgent.
 */
import type { Clock } from './base/clock.ts';
import { messageOf } from './base/errors.ts';
import type { Log } from './base/log.ts';
import type { Outage } from './base/values.ts';
import type { DeliveryReport, NoticeData, Record } from './record/record.ts';
import { type QuietHours, quietAt } from './tell/quiet.ts';
import { nextReminderAt, reminderType } from './tell/reminders.ts';
import { say } from './tell/sentences.ts';

/** An outage that is seen to last. */
export interface Lasting {
  readonly outage: Outage;
  readonly name: string;
  readonly urgent: boolean;
  /** The event's data around this sentence. */
  readonly dataWith: (summary: string) => NoticeData;
}

export interface RemindersGiven {
  readonly clock: Clock;
  readonly record: Pick<Record, 'deliveriesOf' | 'delivery' | 'knownAt' | 'commit'>;
  readonly log: Log;
  readonly channels: readonly {
    readonly name: string;
    readonly remindMs: number | null;
    readonly quiet: QuietHours | null;
  }[];
  /** IANA name: the clock of quiet hours. */
  readonly zone: string;
  /** As things stand now. */
  readonly lasting: () => readonly Lasting[];
  readonly isPlanned: (serviceId: string, at: number) => boolean;
  readonly newId: () => string;
  /** A notice waits. */
  readonly wake: () => void;
}

const lookMsMax = 60_000;
const lookMsMin = 1_000;

/** Looks until stopped. */
export function keepReminding(given: RemindersGiven): { stop(): void } {
  const { clock, log } = given;
  const channels = given.channels.filter(({ remindMs }) => remindMs !== null);
  if (channels.length === 0) return { stop: () => {} };
  let alarm = clock.after(lookMsMin, next);
  let isStopped = false;

  const look = async (): Promise<number> => {
    const dues: number[] = [];
    for (const one of await casesOf(given, channels)) {
      const at = await dueAt(given, one);
      if (at === null || isStopped) continue;
      if (at > clock.wallMs()) dues.push(at);
      else await remindOf(given, one);
    }
    const waitMs = Math.min(...dues) - clock.wallMs();
    return Math.max(Math.min(waitMs, lookMsMax), lookMsMin);
  };
  async function lookSafely(): Promise<void> {
    let pauseMs = lookMsMax;
    try {
      pauseMs = await look();
    } catch (thrown) {
      log.error({ error: messageOf(thrown) }, 'nobody could be reminded');
    }
    if (!isStopped) alarm = clock.after(pauseMs, next);
  }
  function next(): void {
    void lookSafely();
  }
  return {
    stop: () => {
      isStopped = true;
      alarm.cancel();
    },
  };
}

/** What is reminded of at all, once a channel. */
async function casesOf(
  given: RemindersGiven,
  channels: RemindersGiven['channels'],
): Promise<readonly Case[]> {
  const cases: Case[] = [];
  for (const lasting of given.lasting()) {
    if (!(await isRemindedOf(given, lasting))) continue;
    const reports = await given.record.deliveriesOf(lasting.outage.id);
    cases.push(...channels.map((channel) => ({ channel, lasting, reports })));
  }
  return cases;
}

async function isRemindedOf(
  { record, clock, isPlanned }: RemindersGiven,
  { outage }: Lasting,
): Promise<boolean> {
  if (outage.causeId !== null || isPlanned(outage.serviceId, clock.wallMs())) return false;
  return (await record.knownAt(outage.id)) === null;
}

interface Case {
  readonly channel: RemindersGiven['channels'][number];
  readonly lasting: Lasting;
  readonly reports: readonly DeliveryReport[];
}

/** Null: not at all, as things stand. */
async function dueAt(
  { record, clock, zone }: RemindersGiven,
  { channel, lasting, reports }: Case,
): Promise<number | null> {
  const { name, remindMs, quiet } = channel;
  if (remindMs === null) return null;
  const into = new Set(reports.flatMap(({ foldedInto }) => foldedInto ?? []));
  const summed = new Map<string, number | null>();
  for (const id of into) {
    const sum = await record.delivery(id, name);
    const isSum = sum?.notice.type === 'rollcall.digest' && sum.state === 'delivered';
    summed.set(id, isSum ? (sum.attempts.at(-1)?.at ?? null) : null);
  }
  const heard = { reports, channel: name, summedAt: (id: string) => summed.get(id) ?? null };
  const at = nextReminderAt(heard, remindMs);
  if (at === null || quiet === null || lasting.urgent) return at;
  // A reminder that waited through the night would say how things stood when it was written.
  const now = clock.wallMs();
  const { isQuiet, changesAt } = quietAt(now, quiet, zone);
  return isQuiet ? Math.max(at, changesAt) : at;
}

async function remindOf(given: RemindersGiven, { channel, lasting }: Case): Promise<void> {
  const { record, clock, log, newId, wake } = given;
  const { outage, name } = lasting;
  // It may have ended while the record was asked.
  if (!given.lasting().some((one) => one.outage.id === outage.id)) return;
  const at = clock.wallMs();
  const forMs = Math.max(at - outage.firstFailedAt, 0);
  const summary = say({ kind: 'reminder', name, forMs, trouble: outage.trouble });
  const notice = {
    id: newId(),
    type: reminderType,
    at,
    serviceId: outage.serviceId,
    outageId: outage.id,
    notBefore: at,
    data: lasting.dataWith(summary),
    channels: [channel.name],
  };
  try {
    await record.commit({ ...nothing, notices: [{ kind: 'add', notice }] });
  } catch (thrown) {
    // It waits in memory with everything else, and goes out from there.
    log.warn({ error: messageOf(thrown) }, 'a reminder could not be recorded');
  }
  wake();
}

const nothing = { observations: [], memories: [], spans: [], outages: [], unconfirmed: [] };
