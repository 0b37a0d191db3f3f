/** The API's words for figures: availability of a service and of the groups. */
import * as z from 'zod';
import { instant, mean, ms, named, share } from './schemas.ts';

const outageLength = z
  .object({
    outage: z.string().describe('Id of the outage.'),
    lengthMs: ms,
    lowMs: ms.describe('From the first to the last failed answer.'),
    highMs: ms.describe('From the last good answer before to the first good one after.'),
    open: z.boolean().describe('It lasts.'),
  })
  .register(named, { id: 'OutageLength' });

export const availability = z
  .object({
    from: instant,
    to: instant,
    estimate: share.nullable().describe('Null: the required time is empty.'),
    low: share.nullable(),
    high: share.nullable(),
    upMs: ms.describe('Milliseconds up and not degraded.'),
    downMs: ms,
    degradedMs: ms.describe('Milliseconds degraded; counts as up.'),
    unobservedMs: ms,
    plannedMs: ms,
    externallyDisabledMs: ms.describe('Part of `downMs` behind the outage of a needed service.'),
    outages: z.int(),
    unconfirmed: z.int().describe('Failures that were not confirmed; they widen the lower bound.'),
    mttrMs: mean,
    mtbfMs: mean,
    mtbfLowMs: mean.describe(
      'Lower bound of the time between failures, 90 % confidence; without a failure the only one.',
    ),
    mtbfHighMs: mean.describe('Upper bound; null without a failure.'),
    mutMs: mean.describe('Mean up time.'),
    mdtMs: mean.describe('Mean down time.'),
    detectionDelayMs: mean.describe('Mean time from a failure to its confirmation.'),
    longest: outageLength.nullable().describe('The longest outage that touches the window.'),
    shortest: outageLength.nullable().describe('The shortest of those that are over.'),
    surelySeenMs: ms.describe(
      'Shorter outages could have been missed, as the service is asked at present.',
    ),
    budget: z
      .object({
        objective: share,
        allowedMs: ms,
        usedMs: ms,
        leftMs: ms.describe('Negative where more was used than allowed.'),
        leftLowMs: ms,
        leftHighMs: ms,
        burnRate: z.number().nullable().describe('1 uses the budget up just as the window ends.'),
      })
      .nullable()
      .describe('Of the window; null without an objective, and where nothing was required.'),
  })
  .register(named, { id: 'Availability' });

export const groups = z.object({
  from: instant,
  to: instant,
  groups: z.array(
    z.object({
      name: z.string(),
      members: z.array(z.string()).describe('Ids of the services.'),
      estimate: share
        .nullable()
        .describe(
          'Share of the time in which all were observed and none was under planned work, in which all were up.',
        ),
      low: share.nullable(),
      high: share.nullable(),
      mean: share.nullable().describe("Mean of the members' own availabilities."),
      upMs: ms.describe('All were up or degraded.'),
      downMs: ms.describe('All were observed, and one at least was down.'),
      unobservedMs: ms.describe('One at least was not observed.'),
      plannedMs: ms,
      unseen: z
        .array(z.string())
        .describe('Ids of members that were never observed in the window: they take no part.'),
    }),
  ),
});

export type AvailabilityBody = z.output<typeof availability>;
export type GroupsBody = z.output<typeof groups>;
