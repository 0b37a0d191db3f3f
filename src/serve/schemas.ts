/** The API's own words (interface §4): the one source of validation, of what is sent, and of the OpenAPI document. */
import * as z from 'zod';
import { formatDuration, parseDurationMs } from '../base/durations.ts';
import { jobStates } from '../base/jobs.ts';
import { layers, reasons } from '../base/reasons.ts';
import { outcomes, states } from '../base/values.ts';

/** Schemas with a name of their own in the OpenAPI document. */
export const named = z.registry<{ id: string }>();

export const instant = z.iso
  .datetime({ offset: true, error: 'expected an RFC 3339 time, such as 2026-11-25T04:00:00.000Z' })
  .describe('RFC 3339, UTC, milliseconds');
export const ms = z.int().describe('milliseconds');
const us = z.int().describe('microseconds');
export const bytes = z.int().describe('bytes');
export const share = z.number().min(0).max(1);
const facts = z.record(z.string(), z.union([z.string(), z.number(), z.boolean()]));

// asked

/** An instant as text in, milliseconds since the epoch out. */
const instantIn = instant.transform((text) => Date.parse(text));

const stepMsMin = 1_000;
const stepMsMax = 24 * 3_600_000;
const stepExpected = 'expected a duration from 1s to 1d, such as 30s, 5m or 1h';
const stepIn = z
  .string(stepExpected)
  .max(20, stepExpected)
  .transform((text, context) => {
    const stepMs = parseDurationMs(text);
    if (stepMs !== null && stepMs >= stepMsMin && stepMs <= stepMsMax) return stepMs;
    context.addIssue({ code: 'custom', message: stepExpected, input: text });
    return z.NEVER;
  })
  .describe(
    `Summed up by steps of this length, ${formatDuration(stepMsMin)} to ${formatDuration(stepMsMax)}; without it every observation.`,
  );

const idExpected = 'expected an id of at most 200 characters';
const idIn = z.string(idExpected).min(1, idExpected).max(200, idExpected);

export const byId = z.object({ id: idIn });

export const rangeQuery = z.strictObject({
  from: instantIn.optional().describe('By default 24 hours before `to`.'),
  to: instantIn.optional().describe('By default now.'),
});

export const observationsQuery = z.strictObject({
  ...rangeQuery.shape,
  step: stepIn.optional(),
});

export const outagesQuery = z.strictObject({
  service: idIn.optional().describe('Id of a service; without it of all.'),
  ...rangeQuery.shape,
});

// answered

export const problem = z
  .object({
    type: z.string(),
    title: z.string(),
    status: z.int(),
    detail: z.string(),
    instance: z.string().optional(),
    errors: z
      .array(z.object({ detail: z.string(), parameter: z.string(), value: z.string().optional() }))
      .optional()
      .describe('What is wrong with each parameter.'),
  })
  .describe('RFC 9457')
  .register(named, { id: 'Problem' });

/** A refusal, as a route declares it. */
export function inProblemJson() {
  return { description: 'RFC 9457', content: { 'application/problem+json': { schema: problem } } };
}

const state = z.enum(states).register(named, { id: 'State' });
const outcome = z.enum(outcomes).register(named, { id: 'Outcome' });
const layer = z.enum(layers).register(named, { id: 'Layer' });
const reason = z.enum(reasons).register(named, { id: 'Reason' });

export const roll = z
  .object({
    at: instant,
    sentence: z.string().describe('How things are.'),
    counts: z
      .object({
        up: z.int(),
        degraded: z.int(),
        down: z.int(),
        unobserved: z.int(),
        planned: z.int().describe('Under a planned window; counted in their state as well.'),
      })
      .describe('Of all on the roll: services and jobs.'),
    jobs: z
      .record(z.enum(jobStates), z.int())
      .describe(
        'The jobs among them by their own states. Failed, overdue and hanging ones are down.',
      ),
    trouble: z
      .array(z.string())
      .describe('Ids of the services and jobs that are not up, the worst first.'),
  })
  .register(named, { id: 'Roll' });

const observation = z.object({
  at: instant,
  outcome,
  tookUs: us,
  layer: layer.nullable(),
  reason: reason.nullable(),
  detail: z.string().nullable(),
  hint: z.string().nullable(),
  facts,
});

export const mean = ms.nullable();

export const service = z
  .object({
    id: z.string(),
    name: z.string(),
    group: z.string().nullable(),
    kind: z.string(),
    open: z.string().nullable(),
    needs: z.array(z.string()),
    through: z.array(z.string()),
    state,
    since: instant.nullable().describe('Null: never asked so far.'),
    planned: z.boolean(),
    suspect: z.boolean().describe('It failed and is asked again; nothing is decided.'),
    unsteady: z.boolean(),
    cause: z.string().nullable().describe('Id of the service whose outage explains this one.'),
    last: observation.nullable(),
    days30: z
      .object({
        estimate: share.nullable(),
        low: share.nullable(),
        high: share.nullable(),
        outages: z.int(),
        mttrMs: mean,
        mtbfMs: mean,
        unobservedMs: ms,
      })
      .describe('The last 30 × 24 h.'),
  })
  .register(named, { id: 'Service' });

export const services = z.object({ services: z.array(service) });

const point = z.object({ at: instant, outcome, tookUs: us });
const stepPoint = z.object({
  at: instant.describe('Begin of the step.'),
  count: z.int(),
  failed: z.int(),
  p50Us: us.nullable(),
  p95Us: us.nullable(),
  p99Us: us.nullable(),
});

export const observations = z.union([
  z.object({
    from: instant,
    to: instant,
    stepMs: z.null(),
    complete: z.boolean().describe('False: there are more than these, the newest.'),
    points: z.array(point),
  }),
  z.object({ from: instant, to: instant, stepMs: ms, points: z.array(stepPoint) }),
]);

const outageShape = {
  id: z.string(),
  service: z.string().describe('Id of the service.'),
  lastGoodAt: instant.nullable().describe('Null: it was never seen to answer before.'),
  firstFailedAt: instant,
  confirmedAt: instant,
  lastFailedAt: instant,
  restoredAt: instant.nullable().describe('Null while it lasts.'),
  layer,
  reason,
  detail: z.string(),
  hint: z.string(),
  cause: z.string().nullable(),
};

export const outage = z.object(outageShape).register(named, { id: 'Outage' });

export const outages = z.object({
  complete: z.boolean().describe('False: there are more than these, the newest.'),
  outages: z.array(outage),
});

export const outageInFull = z.object({
  ...outageShape,
  knownAt: instant
    .nullable()
    .describe('When somebody said "I know"; since then nobody is reminded.'),
  observations: z
    .array(observation)
    .describe('From the last good answer to the first good one again; the newest.'),
  notices: z.array(
    z.object({
      id: z.string(),
      type: z.string(),
      at: instant,
      summary: z.string(),
      channel: z.string(),
      state: z.enum(['waiting', 'delivered', 'dead', 'folded', 'withdrawn']),
      foldedInto: z.string().nullable(),
      fallbackFor: z
        .string()
        .nullable()
        .describe('Name of the channel that could not deliver it, for which this one stands in.'),
      attempts: z.array(
        z.object({ at: instant, tookMs: ms, status: z.int().nullable(), detail: z.string() }),
      ),
    }),
  ),
  notes: z
    .array(z.object({ at: instant, text: z.string() }))
    .describe('What the owner wrote about it.'),
});

const healthStatus = z.enum(['pass', 'warn', 'fail']);

/** In the words of draft-inadarei-api-health-check-06 (expired in 2022: words, not a standard). */
const health = z
  .object({
    status: healthStatus,
    version: z.string(),
    serviceId: z.string(),
    description: z.string(),
    notes: z.array(z.string()),
    checks: z.record(
      z.string(),
      z.array(
        z.object({
          componentType: z.enum(['component', 'datastore', 'system']),
          status: healthStatus,
          time: instant,
          observedValue: z.number().optional(),
          observedUnit: z.string().optional(),
          output: z.string().optional(),
        }),
      ),
    ),
  })
  .register(named, { id: 'Health' });

export const healthAnswer = z.union([
  health,
  z
    .strictObject({ status: healthStatus })
    .describe('To those who are not signed in, where a passphrase is set.'),
]);

export type ProblemBody = z.output<typeof problem>;
export type ServiceBody = z.output<typeof service>;
export type ObservationBody = z.output<typeof observation>;
export type OutageBody = z.output<typeof outage>;
export type OutageInFullBody = z.output<typeof outageInFull>;
export type HealthBody = z.output<typeof health>;
