/** The outbox at work under a simulated clock, with a record in memory, for the tests of delivery. */
import { silentLog } from '../../src/base/log.ts';
import type { Notice, NoticeEdit } from '../../src/record/record.ts';
import { type DeliveryParts, startDelivery } from '../../src/tell/delivery.ts';
import type { FallbackChannel } from '../../src/tell/fallback.ts';
import type { QuietChannel } from '../../src/tell/quiet.ts';
import { keepTellState } from '../../src/tell/state.ts';
import type { Answer } from '../../src/tell/webhook.ts';
import { simulatedClock } from './clock-simulated.ts';
import { memoryRecord } from './record-memory.ts';
import { fourOClock, notice } from './telling.ts';

type Channel = QuietChannel & FallbackChannel;
export type Behaviour = (
  notice: Notice,
  channel: string,
  signal: AbortSignal,
) => Promise<Answer> | Answer;

export const good: Answer = {
  status: 204,
  reception: 'taken',
  detail: 'answered 204',
  retryAfterMs: null,
};
export const bad: Answer = {
  status: 503,
  reception: 'later',
  detail: 'answered 503',
  retryAfterMs: null,
};

/** A daemon's worth of telling: record, clock, channels `phone` and `chat`, and a receiver that behaves as told. */
export function setting(behave: Behaviour, more: Partial<DeliveryParts<Channel>> = {}) {
  const clock = simulatedClock({ wallMs: fourOClock });
  const record = memoryRecord();
  const state = keepTellState(['phone', 'chat']);
  /** `seconds since the start, channel, notice`, at the beginning of each attempt. */
  const sent: string[] = [];
  const start = () =>
    startDelivery<Channel>({
      record,
      channels: [{ name: 'phone' }, { name: 'chat' }],
      clock,
      log: silentLog,
      random: () => 0.5,
      send: async (channel, message, signal) => {
        sent.push(`${(clock.wallMs() - fourOClock) / 1000} ${channel.name} ${message.id}`);
        return behave(message, channel.name, signal);
      },
      state,
      ...more,
    });
  const put = (...notices: readonly NoticeEdit[]) =>
    record.commit({
      observations: [],
      memories: [],
      spans: [],
      outages: [],
      unconfirmed: [],
      notices,
    });
  return { clock, record, state, sent, start, put };
}

export function add(id: string, more: Partial<Notice> = {}): NoticeEdit {
  return { kind: 'add', notice: notice(id, more) };
}

/** A promise and the means to keep it. */
export function promised<Value>() {
  let keep: (value: Value) => void = () => {};
  const promise = new Promise<Value>((resolve) => {
    keep = resolve;
  });
  return { promise, keep };
}
