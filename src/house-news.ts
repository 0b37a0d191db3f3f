/** What a house tells and does beside its rounds, as it is configured: the news, and the pulse. */
import { randomUUID } from 'node:crypto';
import type { Clock } from './base/clock.ts';
import type { Happenings } from './base/happenings.ts';
import type { Log } from './base/log.ts';
import type { Standing } from './base/standing.ts';
import type { Config } from './config/resolve.ts';
import { askingsOf, cardsOf } from './config/roll.ts';
import { tellNews } from './news.ts';
import { pulseTroubles, startPulse } from './pulse.ts';
import type { Record } from './record/record.ts';
import type { SelfReport } from './serve/board.ts';
import { zoneOf } from './serve/zone.ts';

export interface HouseNewsGiven {
  readonly config: Config;
  readonly clock: Clock;
  readonly record: Record;
  readonly log: Log;
  readonly version: string;
  readonly standingOf: (serviceId: string) => Standing;
  readonly listen: Happenings['listen'];
  /** Whether this daemon does its work. */
  readonly isWell: () => boolean;
  /** A notice waits. */
  readonly wake: () => void;
}

export interface HouseNews {
  /** How the pulse goes. */
  report(): Required<Pick<SelfReport, 'pulse' | 'troubles'>>;
  stop(): Promise<void>;
}

export function startHouseNews(given: HouseNewsGiven): HouseNews {
  const { config, clock, record, log, version, isWell } = given;
  const { instanceId } = record;
  const zone = zoneOf(config.board.timezone);
  const askings = askingsOf(config);
  const news = tellNews({
    ...given,
    cards: cardsOf(config),
    channels: config.tell,
    askingOf: (id) => {
      const asking = askings.get(id);
      if (!asking) throw new Error(`no service ${id}`);
      return asking;
    },
    title: config.board.title,
    zone: config.board.timezone,
    sayInstant: (at) => zone.moment(at, clock.wallMs()).text,
    newId: randomUUID,
  });
  const pulse = config.pulse
    ? startPulse({ clock, log, pulse: config.pulse, isWell, instanceId, version })
    : null;
  return {
    report: () => {
      const state = pulse?.state() ?? null;
      return { pulse: state, troubles: state ? pulseTroubles(state) : [] };
    },
    stop: async () => void (await Promise.all([news.stop(), pulse?.stop()])),
  };
}
