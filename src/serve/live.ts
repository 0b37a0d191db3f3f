/** The route of the stream: `/live`. */
import type { FastifyInstance } from 'fastify';
import * as z from 'zod';
import type { Access } from './access.ts';
import type { Board } from './board.ts';
import { liveFeedOf } from './live-feed.ts';
import { RequestProblem } from './problems.ts';

const eventStream = 'text/event-stream; charset=utf-8';

export function serveLive(app: FastifyInstance, board: Board, access: Access | null): void {
  const { clock, listen } = board;
  if (!listen) return;
  const feed = liveFeedOf({ clock, listen });
  // Before the server waits for its connections to end: a stream would not end by itself.
  app.addHook('preClose', async () => feed.close());
  app.get(
    '/live',
    {
      schema: {
        summary: 'What happens, as it happens',
        description:
          'Server-Sent Events: `change` (service, from, to, since, at, cause, outage), `observation` (service and what the API tells of an observation), and `missed` to a reader whose Last-Event-ID is too old. Ids belong to changes; a comment comes every 15 s.',
        response: {
          200: {
            description: 'A stream without end.',
            content: { 'text/event-stream': { schema: z.string() } },
          },
        },
      },
      exposeHeadRoute: false,
    },
    async (request, reply) => {
      const lastEventId = request.headers['last-event-id'];
      const from = typeof lastEventId === 'string' ? lastEventId : null;
      const stream = feed.open(from, () => access?.isStill(request.viewer) ?? true);
      if (!stream) {
        reply.header('retry-after', '30');
        throw new RequestProblem(503, 'As many streams as there may be are open already.');
      }
      return reply.header('x-accel-buffering', 'no').type(eventStream).send(stream);
    },
  );
}
