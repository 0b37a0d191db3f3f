/** How telling itself goes, for the board: what each channel last did, and what could not be delivered at all. */
import { deadLettersCountMax } from '../base/limits.ts';
import type { Attempt, DeliveryReport, Notice } from '../record/record.ts';

export interface ChannelState {
  readonly name: string;
  /** Since the start of the daemon; null: none so far. */
  readonly lastDeliveredAt: number | null;
  readonly lastFailure: { readonly at: number; readonly detail: string } | null;
  /** Notices that were tried in vain and wait for another try. */
  readonly waitingCount: number;
}

interface DeadLetter {
  readonly noticeId: string;
  readonly channel: string;
  readonly at: number;
  readonly summary: string;
  /** Why it was given up. */
  readonly detail: string;
}

export interface TellState {
  /** In the order of the configuration. */
  readonly channels: readonly ChannelState[];
  /** Newest first, bounded. */
  readonly deadLetters: readonly DeadLetter[];
}

export interface TellStateKeeper {
  state(): TellState;
  /** After a start: those that the record holds, newest first. */
  remembered(deadLetters: readonly DeliveryReport[]): void;
  attempted(attempt: Attempt, notice: Notice): void;
}

export function keepTellState(channelNames: readonly string[]): TellStateKeeper {
  const channels = new Map(channelNames.map((name) => [name, quiet(name)]));
  const waiting = new Map(channelNames.map((name) => [name, new Set<string>()]));
  let deadLetters: readonly DeadLetter[] = [];

  const bury = (letters: readonly DeadLetter[]) => {
    deadLetters = letters.slice(0, deadLettersCountMax);
  };
  return {
    state: () => ({ channels: [...channels.values()], deadLetters }),
    remembered: (reports) => bury([...deadLetters, ...reports.map(letterOf)]),
    attempted: (attempt, notice) => {
      const { channel, noticeId, at, detail, next } = attempt;
      const { summary } = notice.data;
      if (next.state === 'dead') {
        bury([{ noticeId, channel, at, summary, detail }, ...deadLetters]);
      }
      const before = channels.get(channel);
      const open = waiting.get(channel);
      // A channel that is no longer configured has no state of its own.
      if (!before || !open) return;
      if (next.state === 'waiting') open.add(noticeId);
      else open.delete(noticeId);
      const moved = { ...before, waitingCount: open.size };
      channels.set(
        channel,
        next.state === 'delivered'
          ? { ...moved, lastDeliveredAt: at }
          : { ...moved, lastFailure: { at, detail } },
      );
    },
  };
}

function quiet(name: string): ChannelState {
  return { name, lastDeliveredAt: null, lastFailure: null, waitingCount: 0 };
}

function letterOf({ notice, channel, attempts }: DeliveryReport): DeadLetter {
  const last = attempts.at(-1);
  return {
    noticeId: notice.id,
    channel,
    at: last?.at ?? notice.at,
    summary: notice.data.summary,
    detail: last?.detail ?? '',
  };
}
