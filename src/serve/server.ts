/** The board's HTTP server, put together: limits, who may ask, headers, pages, API, health. The caller listens. */
import { hostname } from 'node:os';
import Fastify, { type FastifyInstance } from 'fastify';
import {
  keepAliveMs,
  requestBodyBytesMax,
  requestHeadBytesMax,
  requestMsMax,
} from '../base/limits.ts';
import type { Log } from '../base/log.ts';
import { serveApi } from './api.ts';
import { serveAssets } from './assets.ts';
import { type BoardOptions, boardOf } from './board.ts';
import { serveHealth } from './health.ts';
import { checkHost } from './host-check.ts';
import { describeApi } from './openapi.ts';
import { errorPages, servePages } from './pages.ts';
import { answerProblems, bodyOf, sendProblem } from './problems.ts';
import { sendSecurityHeaders } from './security.ts';

export async function createBoard(options: BoardOptions): Promise<FastifyInstance> {
  const board = boardOf(options);
  const app = Fastify({
    logger: false,
    bodyLimit: requestBodyBytesMax,
    requestTimeout: requestMsMax,
    connectionTimeout: 2 * requestMsMax,
    keepAliveTimeout: keepAliveMs,
    http: { maxHeaderSize: requestHeadBytesMax, headersTimeout: requestMsMax },
    // No proxy is trusted unless named; nothing here depends on who asks.
    trustProxy: false,
    return503OnClosing: true,
    // Addresses that are no text never reach a route, hence no hook or handler either.
    frameworkErrors: (_error, request, reply) => {
      sendProblem(request, reply, bodyOf(400, 'The address is not well formed.', request), null);
    },
    forceCloseConnections: true,
  });
  logRequests(app, options.log);
  await sendSecurityHeaders(app);
  checkHost(app, {
    listenHost: options.board.listen.host,
    names: [hostname(), ...(options.hostnames ?? [])],
  });
  await describeApi(app, options.version);
  const assets = serveAssets(app, board);
  answerProblems(app, options.log, errorPages(board, assets));
  servePages(app, board, assets);
  serveApi(app, board);
  serveHealth(app, board);
  await app.ready();
  return app;
}

function logRequests(app: FastifyInstance, log: Log): void {
  app.addHook('onResponse', async (request, reply) => {
    const { method, url } = request;
    const tookMs = Math.round(reply.elapsedTime);
    log.debug({ method, url, status: reply.statusCode, tookMs }, 'answered a request');
  });
}
