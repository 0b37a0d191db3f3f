/** What one configuration has to do with telling beside the watch: senders, tests of channels, reminders, "I know". */
import { randomUUID } from 'node:crypto';
import type { Standing } from './base/standing.ts';
import { type ChannelTests, testChannels } from './channel-tests.ts';
import { type Channel, cardOf } from './config/resolve.ts';
import { jobCardOf } from './config/resolve-job.ts';
import type { HouseGiven } from './house.ts';
import { takeAsKnown } from './known.ts';
import { lastingOf } from './lasting.ts';
import { keepReminding } from './reminders.ts';
import type { ChannelSaid } from './serve/acts.ts';
import type { LocalTelling } from './serve/local-telling.ts';
import { zoneOf } from './serve/zone.ts';
import { channelSender } from './tell/send.ts';
import type { QuietWays } from './tell/summing.ts';
import type { Send } from './tell/webhook.ts';

export interface HouseTellingGiven
  extends Pick<HouseGiven, 'config' | 'clock' | 'record' | 'log' | 'mask'> {
  readonly standingOf: (id: string) => Standing;
  readonly isPlanned: (serviceId: string, at: number) => boolean;
  readonly wake: () => void;
  /** Aborted when the house stops. */
  readonly signal: AbortSignal;
}

export interface HouseTelling {
  readonly send: Send<Channel>;
  readonly quiet: Omit<QuietWays, 'newId'>;
  readonly local: LocalTelling;
  testChannel(name: string): Promise<ChannelSaid>;
  /** From now on reminders are sent. */
  begin(): void;
  stop(): void;
}

export function houseTelling(given: HouseTellingGiven): HouseTelling {
  const { config, clock, record, log, mask, signal, standingOf } = given;
  const { timezone, address } = config.board;
  const zone = zoneOf(timezone);
  const send = channelSender({
    clock,
    instanceId: record.instanceId,
    sayInstant: (at) => zone.whole(at).text,
    address,
  });
  const tests: ChannelTests<Channel> = {
    ...{ channels: config.tell, send, clock, mask, signal },
    newId: randomUUID,
  };
  const named = [...config.services, ...config.jobs];
  const services = [
    ...config.services.map((one) => ({ card: cardOf(one), urgent: one.urgent })),
    ...config.jobs.map((one) => ({ card: jobCardOf(one), urgent: one.urgent })),
  ];
  let reminders: { stop(): void } | null = null;
  return {
    send,
    quiet: {
      zone: timezone,
      urgentIds: named.filter(({ urgent }) => urgent).map(({ id }) => id),
      sayInstant: (at, now) => zone.moment(at, now).text,
    },
    local: {
      know: (word) => takeAsKnown(word, { record, now: clock.wallMs(), named }),
      testChannels: (name) => testChannels(tests, name),
    },
    testChannel: async (name) => {
      const tested = await testChannels(tests, name);
      if ('complaint' in tested) throw new Error(tested.complaint);
      const [{ delivered, detail } = { delivered: false, detail: '' }] = tested;
      return { delivered, detail };
    },
    begin: () => {
      const since = clock.wallMs();
      reminders = keepReminding({
        ...{ clock, record, log, channels: config.tell, zone: timezone },
        lasting: () => lastingOf({ services, standingOf, since }),
        isPlanned: given.isPlanned,
        newId: randomUUID,
        wake: given.wake,
      });
    },
    stop: () => reminders?.stop(),
  };
}
