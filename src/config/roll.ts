/** All that stands on the roll, services and jobs, as everybody downstream of the configuration knows it. */
import { jobLookMs } from '../base/limits.ts';
import type { ServiceCard } from '../base/values.ts';
import { askingOf, type Config, cardOf } from './resolve.ts';
import { jobCardOf } from './resolve-job.ts';

/** Services first, each in the order of the configuration. */
export function cardsOf({ services, jobs }: Pick<Config, 'services' | 'jobs'>): ServiceCard[] {
  return [...services.map(cardOf), ...jobs.map(jobCardOf)];
}

/** How each is asked, by id. A job is looked at: that takes no time, and one look decides. */
export function askingsOf({ services, jobs }: Pick<Config, 'services' | 'jobs'>) {
  const ofJobs = { everyMs: jobLookMs, confirm: 1, recheckMs: 0, timeoutMs: 0 };
  return new Map([
    ...services.map((service) => [service.id, askingOf(service)] as const),
    ...jobs.map(({ id }) => [id, ofJobs] as const),
  ]);
}
