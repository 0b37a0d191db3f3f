/**
 * The daemon's own health, in the words of draft-inadarei-api-health-check-06. It fails when the record cannot be
 * written, or when no service was asked for three intervals: then the watch itself has stopped.
 */
import type { FastifyInstance } from 'fastify';
import type { ZodTypeProvider } from 'fastify-type-provider-zod';
import { sayDuration } from '../base/durations.ts';
import { instantText } from '../base/instants.ts';
import type { Board, BoardOptions } from './board.ts';
import { type HealthBody, healthAnswer } from './schemas.ts';
import { isFailing, recordTroubles } from './self-props.ts';

type HealthNeeds = Pick<
  BoardOptions,
  'record' | 'cards' | 'standingOf' | 'clock' | 'version' | 'self' | 'telling'
>;
type Check = HealthBody['checks'][string][number];
type Status = HealthBody['status'];

/** Intervals without any question after which the watch counts as stopped. */
const intervalsCountMax = 3;
/** A stall of some seconds passes over a few turns of the services that are asked most often, and is no news. */
const skippedShareMax = 0.01;
/** Fewer starts say little of a share. */
const startsCountMin = 1_000;

export function serveHealth(app: FastifyInstance, board: Board): void {
  const contentType = 'application/health+json';
  const answer = { content: { [contentType]: { schema: healthAnswer } } };
  app.withTypeProvider<ZodTypeProvider>().get(
    '/healthz',
    {
      config: { open: true },
      schema: {
        summary: "The daemon's own health",
        response: {
          200: { description: 'It watches.', ...answer },
          503: {
            description: 'It does not: the record cannot be written, or nobody is asked.',
            ...answer,
          },
        },
      },
    },
    async (request, reply) => {
      const found = healthOf(board);
      // Whoever only asks whether it lives hears that, and nothing of what it watches.
      const said = request.viewer.kind === 'stranger' ? { status: found.status } : found;
      return reply
        .code(found.status === 'fail' ? 503 : 200)
        .type(contentType)
        .send(said);
    },
  );
}

/** What `/healthz` and `rollcall health` answer. */
export function healthOf(needs: HealthNeeds): HealthBody {
  const now = needs.clock.wallMs();
  const checks = {
    'record:writable': [recordCheck(needs, now)],
    'roll:sinceLastAsked': [askingCheck(needs, now)],
    'roll:lateness': [latenessCheck(needs, now)],
    'telling:deadLetters': [tellingCheck(needs, now)],
  };
  const { troubles } = needs.self();
  const outputs = Object.values(checks).flat();
  const worst = (status: Status) => outputs.some((check) => check.status === status);
  return {
    status: worst('fail') ? 'fail' : worst('warn') || troubles.length > 0 ? 'warn' : 'pass',
    version: needs.version,
    serviceId: needs.record.instanceId,
    description: 'Rollcall: calls the roll of the services on this network',
    notes: [...outputs.flatMap(({ output }) => output ?? []), ...troubles],
    checks,
  };
}

function recordCheck({ record }: HealthNeeds, now: number): Check {
  const found = record.health();
  const troubles = recordTroubles(found);
  return {
    componentType: 'datastore',
    status: found.writable ? (troubles.length > 0 ? 'warn' : 'pass') : 'fail',
    time: instantText(now),
    ...(troubles.length > 0 && { output: troubles.join(' ') }),
  };
}

/** The newest question against the shortest interval: the service that is asked most often shows first that nobody asks. */
function askingCheck({ cards, standingOf, self }: HealthNeeds, now: number): Check {
  const time = instantText(now);
  if (cards.length === 0) return { componentType: 'component', status: 'pass', time };
  const newest = Math.max(
    self().startedAt,
    ...cards.map(({ id }) => standingOf(id).last?.at ?? Number.NEGATIVE_INFINITY),
  );
  const silentMs = Math.max(0, now - newest);
  const limitMs = intervalsCountMax * Math.min(...cards.map(({ id }) => standingOf(id).pacedMs));
  const failed = silentMs > limitMs;
  return {
    componentType: 'component',
    status: failed ? 'fail' : 'pass',
    time,
    observedValue: silentMs,
    observedUnit: 'ms',
    ...(failed && {
      output: `No service was asked for ${sayDuration(silentMs)}; the most frequent one is due every ${sayDuration(limitMs / intervalsCountMax)}.`,
    }),
  };
}

/** Whether this machine keeps up: how late all but one in a hundred began, and the turns that were passed over. */
function latenessCheck({ self }: HealthNeeds, now: number): Check {
  const { startsCount, p99Ms, skippedCount } = self().lateness();
  const isBehind = skippedCount > Math.max(startsCount, startsCountMin) * skippedShareMax;
  return {
    componentType: 'component',
    status: isBehind ? 'warn' : 'pass',
    time: instantText(now),
    ...(p99Ms !== null && { observedValue: p99Ms, observedUnit: 'ms' }),
    ...(isBehind && {
      output: `This machine does not keep up: ${skippedCount} turns were passed over where ${startsCount} came.`,
    }),
  };
}

function tellingCheck({ telling }: HealthNeeds, now: number): Check {
  const { channels, deadLetters } = telling();
  const failing = channels.filter(isFailing).map(({ name }) => `The channel “${name}” fails.`);
  const dead = deadLetters.length > 0 ? ['There are notices that could not be delivered.'] : [];
  const outputs = [...failing, ...dead];
  return {
    componentType: 'component',
    status: outputs.length > 0 ? 'warn' : 'pass',
    time: instantText(now),
    observedValue: deadLetters.length,
    ...(outputs.length > 0 && { output: outputs.join(' ') }),
  };
}
