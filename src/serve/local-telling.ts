/** Telling over the socket of the commands: "I know", and a test of the channels. */
import type { FastifyInstance } from 'fastify';
import * as z from 'zod';

interface Complaint {
  readonly complaint: string;
}

export interface LocalTelling {
  /** The outage of this id, or the open one of what has this id or name. */
  readonly know: (
    word: string,
  ) => Promise<
    { readonly outageId: string; readonly name: string; readonly at: number } | Complaint
  >;
  /** Null: all channels. */
  readonly testChannels: (channel: string | null) => Promise<readonly object[] | Complaint>;
}

const knownBody = z.strictObject({ outage: z.string().min(1).max(300) });
const testBody = z.strictObject({ channel: z.string().max(200).nullable() });

export function serveLocalTelling(local: FastifyInstance, telling: LocalTelling): void {
  local.post('/known', async (request, reply) => {
    const body = knownBody.safeParse(request.body);
    if (!body.success) return reply.code(400).send({ detail: 'expected { "outage": id or name }' });
    const known = await telling.know(body.data.outage);
    return 'complaint' in known ? reply.code(404).send({ detail: known.complaint }) : known;
  });
  local.post('/notice/test', async (request, reply) => {
    const body = testBody.safeParse(request.body);
    if (!body.success)
      return reply.code(400).send({ detail: 'expected { "channel": name or null }' });
    const tested = await telling.testChannels(body.data.channel);
    return 'complaint' in tested ? reply.code(404).send({ detail: tested.complaint }) : { tested };
  });
}
