/** Errors on the way out: RFC 9457 problem details for programs, a page for people, nothing of the inside for either. */
import { STATUS_CODES } from 'node:http';
import type { FastifyError, FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { hasZodFastifySchemaValidationErrors } from 'fastify-type-provider-zod';
import { messageOf } from '../base/errors.ts';
import type { Log } from '../base/log.ts';
import { cleanText } from '../base/text.ts';
import type { ProblemBody } from './schemas.ts';

/** A request that cannot be served as it stands. Thrown by handlers, answered here. */
export class RequestProblem extends Error {
  readonly statusCode: number;
  readonly errors: ProblemBody['errors'];

  constructor(statusCode: number, detail: string, errors?: ProblemBody['errors']) {
    super(detail);
    this.name = 'RequestProblem';
    this.statusCode = statusCode;
    this.errors = errors;
  }
}

/** What a person is shown instead. */
export type ErrorPage = (request: FastifyRequest, problem: ProblemBody) => string;

export function answerProblems(app: FastifyInstance, log: Log, errorPage: ErrorPage): void {
  app.setErrorHandler((error: FastifyError, request, reply) => {
    const problem = problemOf(error, request);
    if (problem.status >= 500) {
      log.error(
        { url: request.url, error: messageOf(error), stack: error.stack },
        'a request failed',
      );
    }
    return sendProblem(request, reply, problem, errorPage);
  });
  app.setNotFoundHandler((request, reply) => {
    const reads = request.method === 'GET' || request.method === 'HEAD';
    if (!reads) reply.header('allow', 'GET, HEAD');
    const problem = reads
      ? bodyOf(404, 'There is nothing at this address.', request)
      : bodyOf(405, 'Only GET and HEAD are answered here.', request);
    return sendProblem(request, reply, problem, errorPage);
  });
}

export function sendProblem(
  request: FastifyRequest,
  reply: FastifyReply,
  problem: ProblemBody,
  errorPage: ErrorPage | null,
): FastifyReply {
  reply.code(problem.status).header('vary', 'accept');
  if (errorPage && wantsPage(request)) {
    return reply
      .type('text/html; charset=utf-8')
      .serializer(String)
      .send(errorPage(request, problem));
  }
  return reply.type('application/problem+json').serializer(JSON.stringify).send(problem);
}

export function bodyOf(
  status: number,
  detail: string,
  request: FastifyRequest,
  errors?: ProblemBody['errors'],
): ProblemBody {
  return {
    type: 'about:blank',
    title: STATUS_CODES[status] ?? 'Error',
    status,
    detail,
    instance: cleanText(request.url, 400),
    ...(errors && { errors }),
  };
}

function problemOf(error: FastifyError, request: FastifyRequest): ProblemBody {
  if (hasZodFastifySchemaValidationErrors(error)) return invalidOf(error, request);
  if (error instanceof RequestProblem) {
    return bodyOf(error.statusCode, error.message, request, error.errors);
  }
  const status = error.statusCode ?? 500;
  // What failed inside is for the log; the framework's own refusals (4xx) say nothing private.
  return status >= 400 && status < 500
    ? bodyOf(status, cleanText(error.message), request)
    : bodyOf(500, 'Something went wrong here. The log of Rollcall says what.', request);
}

/** What, where, and what was expected instead. */
function invalidOf(
  error: {
    readonly validation: readonly { instancePath: string; message?: string; params: object }[];
    readonly validationContext?: string | undefined;
  },
  request: FastifyRequest,
): ProblemBody {
  const given = error.validationContext === 'params' ? request.params : request.query;
  const errors = error.validation.flatMap(({ instancePath, message, params }) => {
    const unknown = 'keys' in params && Array.isArray(params.keys) ? params.keys.map(String) : null;
    const names = unknown ?? [instancePath.slice(1)];
    return names.map((parameter) => {
      const value = (given as Readonly<Record<string, unknown>>)[parameter];
      return {
        parameter: cleanText(parameter, 100),
        detail: unknown ? 'no such parameter' : (message ?? 'not as expected'),
        ...(typeof value === 'string' && { value: cleanText(value) }),
      };
    });
  });
  const [first] = errors;
  const detail = first ? `${first.parameter}: ${first.detail}` : 'The request is not as expected.';
  return bodyOf(400, detail, request, errors);
}

const forPrograms = /^\/(api\/|openapi\.json|healthz|live|metrics|feed\.atom)/;

/** Pages live outside of what is for programs, and only those get one who ask for it. */
export function wantsPage({ url, headers }: FastifyRequest): boolean {
  return !forPrograms.test(url) && (headers.accept ?? '').includes('text/html');
}
