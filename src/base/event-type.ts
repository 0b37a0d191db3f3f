/**
 * The type of an event as it goes out. A job is watched, recorded and told as a service is, under the types of services;
 * only where it leaves the house it is called what it is. So what folds, holds and restores notices need not know of jobs.
 */

interface Told {
  readonly [key: string]: unknown;
}

/** @param data The notice's; that of a job has a `job`. */
export function eventType(type: string, data: Told): string {
  if (data['job'] === undefined) return type;
  switch (type) {
    case 'rollcall.service.down':
      return `rollcall.job.${downWord(data['observation'])}`;
    case 'rollcall.service.degraded':
      return 'rollcall.job.slow';
    case 'rollcall.service.up':
      return 'rollcall.job.recovered';
    default:
      return type;
  }
}

function downWord(observation: unknown): 'failed' | 'overdue' | 'hanging' {
  const isBlock = typeof observation === 'object' && observation !== null;
  const reason = isBlock && 'reason' in observation ? observation.reason : null;
  return reason === 'overdue' || reason === 'hanging' ? reason : 'failed';
}
