/** What is measured of each service, as families of metrics. */
import { nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import { outcomes, type ServiceCard, type State, states } from '../base/values.ts';
import type { Availability } from '../uptime/availability.ts';
import { type Sketch, sketchQuantile } from '../uptime/sketch.ts';
import type { Family } from './openmetrics.ts';
import type { ServiceTally } from './tally.ts';

const quantiles = [0.5, 0.95, 0.99];

export interface Measured {
  readonly card: ServiceCard;
  readonly tally: ServiceTally;
  readonly state: State;
  readonly planned: boolean;
  readonly days30: Availability;
  /** Of the last day. */
  readonly took: Sketch;
}

/** `beganAt`: since when the tallies count. */
export function serviceFamilies(services: readonly Measured[], beganAt: number): Family[] {
  const createdS = beganAt / 1_000;
  return [...standingFamilies(services, createdS), ...answerFamilies(services, createdS)];
}

function standingFamilies(services: readonly Measured[], createdS: number): Family[] {
  const each = eachOf(services);
  return [
    {
      name: 'rollcall_service',
      type: 'info',
      help: 'Name, group and protocol of a service.',
      samples: each(({ card: { name, group, kind } }, service) => ({
        labels: {
          service,
          name: cleanText(name, nameCharsMax),
          ...(group !== null && { group: cleanText(group, nameCharsMax) }),
          kind,
        },
      })),
    },
    {
      name: 'rollcall_service_state',
      type: 'stateset',
      help: 'How a service stands.',
      states,
      samples: each(({ state }, service) => ({ labels: { service }, state })),
    },
    {
      name: 'rollcall_service_planned',
      type: 'gauge',
      help: 'Whether a service is under planned work: 1 or 0.',
      samples: each(({ planned }, service) => ({ labels: { service }, value: planned ? 1 : 0 })),
    },
    {
      name: 'rollcall_service_state_seconds',
      type: 'counter',
      unit: 'seconds',
      help: 'How long a service stood in each state, as it was decided, since Rollcall started.',
      createdS,
      samples: each(({ tally }, service) =>
        states.map((state) => ({
          labels: { service, state },
          value: tally.stateMs[state] / 1_000,
        })),
      ),
    },
    {
      name: 'rollcall_service_availability_ratio',
      type: 'gauge',
      unit: 'ratio',
      help: 'Share of the required time of the last 30 days in which a service was up, with its bounds.',
      samples: each(({ days30 }, service) =>
        (['estimate', 'low', 'high'] as const).flatMap((bound) => {
          const value = days30[bound];
          return value === null ? [] : { labels: { service, bound }, value };
        }),
      ),
    },
  ];
}

function answerFamilies(services: readonly Measured[], createdS: number): Family[] {
  const each = eachOf(services);
  return [
    {
      name: 'rollcall_service_observations',
      type: 'counter',
      help: 'Answers and failures to answer since Rollcall started.',
      createdS,
      samples: each(({ tally }, service) =>
        outcomes.map((outcome) => ({
          labels: { service, outcome },
          value: tally.outcomes[outcome],
        })),
      ),
    },
    {
      name: 'rollcall_service_outages',
      type: 'counter',
      help: 'Outages that were confirmed since Rollcall started.',
      createdS,
      samples: each(({ tally }, service) => ({ labels: { service }, value: tally.outagesCount })),
    },
    {
      name: 'rollcall_service_answer_seconds',
      type: 'summary',
      unit: 'seconds',
      help: 'How long answers took: quantiles of the last 24 hours, count and sum since Rollcall started.',
      createdS,
      // A job is looked at: that takes no time.
      samples: eachOf(services.filter(({ card }) => card.kind !== 'job'))(
        ({ tally, took }, service) => ({
          labels: { service },
          quantiles: quantiles.flatMap((quantile) => {
            const us = sketchQuantile(took, quantile);
            return us === null ? [] : { quantile, value: us / 1_000_000 };
          }),
          count: tally.answersCount,
          sum: tally.answersUs / 1_000_000,
        }),
      ),
    },
  ];
}

function eachOf(services: readonly Measured[]) {
  return <Value>(make: (one: Measured, service: string) => Value | readonly Value[]): Value[] =>
    services.flatMap((one) => make(one, one.card.id));
}
