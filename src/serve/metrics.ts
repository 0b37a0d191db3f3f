/** `/metrics`: the roll and the house in OpenMetrics, for programs that keep their own record of numbers. */
import type { FastifyInstance } from 'fastify';
import * as z from 'zod';
import { latenciesFreshMs } from '../base/limits.ts';
import type { Sketch } from '../uptime/sketch.ts';
import type { Board } from './board.ts';
import { jobFamilies } from './job-metrics.ts';
import { expositionOf, openMetricsType } from './openmetrics.ts';
import { houseFamilies } from './self-metrics.ts';
import { serviceFamilies } from './service-metrics.ts';
import { tallyOf } from './tally.ts';

const dayMs = 24 * 3_600_000;

export function serveMetrics(app: FastifyInstance, board: Board): void {
  const tally = tallyOf({
    clock: board.clock,
    listen: board.listen,
    serviceIds: board.cards.map(({ id }) => id),
    stateOf: (id) => board.standingOf(id).state,
  });
  app.addHook('onClose', async () => tally.close());
  const latency = keptLatency(board);
  app.get(
    '/metrics',
    {
      schema: {
        summary: 'The roll and the daemon in OpenMetrics 1.0',
        response: {
          200: {
            description: 'Text.',
            content: { 'application/openmetrics-text': { schema: z.string() } },
          },
        },
      },
    },
    async (_request, reply) => {
      const measured = await Promise.all(
        board.cards.map(async (card) => ({
          card,
          tally: tally.of(card.id),
          state: board.standingOf(card.id).state,
          planned: board.plannedUntil(card.id) !== null,
          days30: await board.figures.days30(card.id),
          took: await latency(card.id),
        })),
      );
      const families = [
        ...serviceFamilies(measured, tally.beganAt),
        ...jobFamilies(board),
        ...houseFamilies(board),
      ];
      return reply.type(openMetricsType).serializer(String).send(expositionOf(families));
    },
  );
}

/** Read anew once a minute: whoever scrapes does so several times in that. */
function keptLatency({ record, clock }: Board): (serviceId: string) => Promise<Sketch> {
  const kept = new Map<string, { readonly atMs: number; readonly took: Promise<Sketch> }>();
  return (serviceId) => {
    const nowMs = clock.monotonicMs();
    const known = kept.get(serviceId);
    if (known && nowMs - known.atMs < latenciesFreshMs) return known.took;
    const to = clock.wallMs();
    const took = record.latencies(serviceId, { from: to - dayMs, to }).then(({ tookUs }) => tookUs);
    kept.set(serviceId, { atMs: nowMs, took });
    // A reading that failed must not be kept; whoever waits for it hears of the failure.
    took.catch(() => kept.delete(serviceId));
    return took;
  };
}
