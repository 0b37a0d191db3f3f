/**
 * Jobs report in: `POST /jobs/:id/began` and `/jobs/:id/ended`. Over the network with the job's own token, which is all
 * that is needed also where the board itself wants a sign-in; over the socket without. Wrong tokens are limited by
 * address, and by our own limiter: it counts only those (see limiter.ts).
 */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import {
  serializerCompiler,
  validatorCompiler,
  type ZodTypeProvider,
} from 'fastify-type-provider-zod';
import type { JobRun } from '../base/jobs.ts';
import {
  wrongReportsAllCountMax,
  wrongReportsEachCountMax,
  wrongReportsWindowMs,
} from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Board } from './board.ts';
import { runBody } from './job-bodies.ts';
import * as schemas from './job-schemas.ts';
import type { JobsSource } from './jobs-source.ts';
import { limiterOf, networkOf } from './limiter.ts';
import { jobToken } from './openapi.ts';
import { noOutput, type Output, takeOutputs } from './output-body.ts';
import { bodyOf, RequestProblem, sendProblem } from './problems.ts';
import { byId, inProblemJson } from './schemas.ts';

/** Wrong parameters; a wrong token, or no such job; too long; too many wrong ones. */
const refusals = {
  400: inProblemJson(),
  401: inProblemJson(),
  413: inProblemJson(),
  429: inProblemJson(),
};
const open = { open: true } as const;

export async function serveJobReports(app: FastifyInstance, board: Board): Promise<void> {
  const { jobs } = board;
  if (!jobs) return;
  await app.register((plain, _options, ready) => {
    const scope = plain.withTypeProvider<ZodTypeProvider>();
    takeOutputs(plain);
    scope.addHook('onRequest', tokenCheck(board, jobs));
    scope.post(
      '/jobs/:id/began',
      {
        config: open,
        schema: {
          summary: 'A run of a job begins',
          description: describe,
          security: [{ [jobToken]: [] }],
          params: byId,
          querystring: schemas.beganQuery,
          response: { 200: schemas.run, ...refusals },
        },
      },
      async ({ params, query }) =>
        reported(jobs.began(params.id, { runId: query.run ?? null, at: null })),
    );
    scope.post(
      '/jobs/:id/ended',
      {
        config: open,
        schema: {
          summary: 'A run of a job ended; the body is the end of its output, any text',
          description: describe,
          security: [{ [jobToken]: [] }],
          params: byId,
          querystring: schemas.endedQuery,
          response: { 200: schemas.run, ...refusals },
        },
      },
      async ({ params, query, body }) => {
        const { sizeBytes, bytes } = outputOf(body);
        const { exit, run, value = null, unit = null } = query;
        const report = { runId: run ?? null, at: null, beganAt: null };
        const told = { exit, value, unit, sizeBytes, output: bytes };
        return reported(jobs.ended(params.id, { ...report, ...told }));
      },
    );
    ready();
  });
}

const describe = "`Authorization: Bearer …` with the job's own token, which is all that is needed.";

/** The same over the socket; who reports there may say when it was. */
export async function serveLocalReports(local: FastifyInstance, jobs: JobsSource): Promise<void> {
  await local.register((plain, _options, ready) => {
    plain.setValidatorCompiler(validatorCompiler);
    plain.setSerializerCompiler(serializerCompiler);
    const scope = plain.withTypeProvider<ZodTypeProvider>();
    takeOutputs(plain);
    scope.addHook('onRequest', async (request) => {
      const { id } = request.params as { readonly id: string };
      if (jobs.planOf(id)) return;
      throw new RequestProblem(404, `no job \`${cleanText(id, 100)}\` is configured`);
    });
    scope.setErrorHandler((error, _request, reply) => {
      const { statusCode: status = 500, message } = error as {
        statusCode?: number;
        message: string;
      };
      return reply.code(status).serializer(JSON.stringify).send({ detail: message });
    });
    scope.post(
      '/jobs/:id/began',
      { schema: { params: byId, querystring: schemas.localBeganQuery } },
      async ({ params, query: { run = null, at = null } }) =>
        reported(jobs.began(params.id, { runId: run, at })),
    );
    scope.post(
      '/jobs/:id/ended',
      { schema: { params: byId, querystring: schemas.localEndedQuery } },
      async ({ params, query, body }) => {
        const { sizeBytes, bytes } = outputOf(body);
        const { exit, run = null, at = null, began = null, value = null, unit = null } = query;
        const report = { runId: run, at, beganAt: began, exit, value, unit };
        const told = { ...report, sizeBytes: query.size ?? sizeBytes, output: bytes };
        return reported(jobs.ended(params.id, told));
      },
    );
    ready();
  });
}

async function reported(taken: Promise<{ readonly run: JobRun }>) {
  return runBody((await taken).run);
}

/** Without a body there is none to parse. */
function outputOf(body: unknown): Output {
  return (body as Output | null | undefined) ?? noOutput;
}

/** The same answer for a wrong token and for a job that is not there, after the same time. */
function tokenCheck({ clock, log }: Board, jobs: JobsSource) {
  const limiter = limiterOf({
    clock,
    windowMs: wrongReportsWindowMs,
    eachCountMax: wrongReportsEachCountMax,
    allCountMax: wrongReportsAllCountMax,
  });
  return async (
    request: FastifyRequest,
    reply: FastifyReply,
  ): Promise<FastifyReply | undefined> => {
    const { id } = request.params as { readonly id: string };
    const token = /^Bearer +(\S+)$/i.exec(request.headers.authorization ?? '')?.[1] ?? '';
    if (jobs.isToken(id, token)) return undefined;
    const waitMs = limiter.take(networkOf(request.ip));
    // Its body is not read.
    reply.header('connection', 'close').header('www-authenticate', 'Bearer realm="Rollcall"');
    if (waitMs !== null) {
      reply.header('retry-after', Math.ceil(waitMs / 1_000));
      return sendProblem(request, reply, bodyOf(429, 'Too many wrong tokens.', request), null);
    }
    log.warn({ from: request.ip }, 'a report with a wrong token, or for no job');
    const detail = 'Send the token of this job in the Authorization header.';
    return sendProblem(request, reply, bodyOf(401, detail, request), null);
  };
}
