/** Planned windows over the socket of the commands: declared from now on, and ended. */
import type { FastifyInstance } from 'fastify';
import * as z from 'zod';
import { RollcallError } from '../base/errors.ts';
import { servicesCountMax } from '../base/limits.ts';

/** What is to be planned from now on. Words are ids or names; none of either: every service. */
export interface PlanWords {
  readonly lastsMs: number;
  readonly services: readonly string[];
  readonly groups: readonly string[];
  readonly why: string | null;
}

/** Each gives a sentence for people. Rejects with a RollcallError `usage` where it cannot be done. */
export interface Planning {
  plan(words: PlanWords): Promise<string>;
  /** Null: what runs now. */
  end(id: string | null): Promise<string>;
}

const words = z.array(z.string().max(200)).max(servicesCountMax);
const planBody = z.strictObject({
  lastsMs: z.int().positive(),
  services: words,
  groups: words,
  why: z.string().max(4_000).nullable(),
});
const endBody = z.strictObject({ id: z.string().max(200).nullable() });

export function servePlanning(local: FastifyInstance, planning: Planning): void {
  local.post('/plan', async (request, reply) => {
    const body = planBody.safeParse(request.body);
    if (!body.success) return reply.code(400).send({ detail: 'expected what is to be planned' });
    return said(() => planning.plan(body.data), reply);
  });
  local.post('/plan/end', async (request, reply) => {
    const body = endBody.safeParse(request.body);
    if (!body.success) return reply.code(400).send({ detail: 'expected { "id": id or null }' });
    return said(() => planning.end(body.data.id), reply);
  });
}

interface Reply {
  code(status: number): { send(body: object): unknown };
}

async function said(work: () => Promise<string>, reply: Reply) {
  try {
    return { said: await work() };
  } catch (thrown) {
    if (!(thrown instanceof RollcallError && thrown.code === 'usage')) throw thrown;
    return reply.code(400).send({ detail: thrown.message });
  }
}
