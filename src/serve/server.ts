/** The board's HTTP server, put together: limits, who may ask, headers, pages, API, health. The caller listens. */
import { hostname } from 'node:os';
import Fastify, { type FastifyInstance } from 'fastify';
import type { Log } from '../base/log.ts';
import { accessTo } from './access.ts';
import { serveActs } from './acts.ts';
import { serveApi } from './api.ts';
import { serveAssets } from './assets.ts';
import { type Board, type BoardOptions, boardOf } from './board.ts';
import { sayWhatMayBeKept } from './caching.ts';
import { compressAnswers } from './compression.ts';
import { serveFeed } from './feed.ts';
import { readForms } from './forms.ts';
import { serveHealth } from './health.ts';
import { checkHost } from './host-check.ts';
import { serveJobsApi } from './job-api.ts';
import { serveJobReports } from './job-reports.ts';
import { boundConnections, listenerOptions } from './listener.ts';
import { serveLive } from './live.ts';
import { serveMetrics } from './metrics.ts';
import { describeApi } from './openapi.ts';
import { errorPages, servePages } from './pages.ts';
import { servePlannedFile } from './planned-file.ts';
import { answerProblems, bodyOf, sendProblem } from './problems.ts';
import { sendSecurityHeaders } from './security.ts';
import { serveSignIn } from './sign-in.ts';

export async function createBoard(options: BoardOptions): Promise<FastifyInstance> {
  const board = boardOf(options);
  const app = Fastify({
    ...listenerOptions(options.proxies),
    rewriteUrl: ({ url = '/' }) => withoutBase(url, board.base),
    // Addresses that are no text never reach a route, hence no hook or handler either.
    frameworkErrors: (_error, request, reply) => {
      sendProblem(request, reply, bodyOf(400, 'The address is not well formed.', request), null);
    },
  });
  boundConnections(app);
  logRequests(app, options.log);
  await sendSecurityHeaders(app);
  sayWhatMayBeKept(app);
  compressAnswers(app);
  checkHost(app, {
    listenHost: options.board.listen.host,
    names: [hostname(), ...(options.hostnames ?? [])],
  });
  readForms(app);
  const isGuarded = typeof options.access?.passphrase === 'string';
  const hasJobs = board.jobs !== undefined;
  await describeApi(app, { version: options.version, base: board.base, isGuarded, hasJobs });
  const assets = serveAssets(app, board);
  const errorPage = errorPages(board, assets);
  const access = await accessTo(app, accessGiven(board), errorPage);
  answerProblems(app, options.log, errorPage);
  if (access) serveSignIn(app, { board, access, assets });
  const tests = serveActs(app, board);
  servePages(app, { board, assets, tests });
  serveApi(app, board);
  serveJobsApi(app, board);
  serveHealth(app, board);
  serveFeed(app, board);
  servePlannedFile(app, board);
  serveMetrics(app, board);
  serveLive(app, board, access);
  await serveJobReports(app, board);
  await app.ready();
  return app;
}

function accessGiven(board: Board) {
  const { access, record, clock, base } = board;
  return access ? { ...access, record, clock, base } : null;
}

/**
 * A proxy may pass its sub-path on or take it away: both ways lead here. What stands before the path in a whole address
 * (RFC 9112 §3.2.2) was looked at by `checkHost`.
 */
function withoutBase(asked: string, base: string): string {
  const url = asked.replace(/^https?:\/\/[^/?#]*\/?/i, '/');
  const path = base.slice(0, -1);
  if (path === '' || !url.startsWith(path)) return url;
  const rest = url.slice(path.length);
  if (rest === '' || rest.startsWith('?')) return `/${rest}`;
  return rest.startsWith('/') ? rest : url;
}

function logRequests(app: FastifyInstance, log: Log): void {
  app.addHook('onResponse', async (request, reply) => {
    const { method, url } = request;
    const tookMs = Math.round(reply.elapsedTime);
    log.debug({ method, url, status: reply.statusCode, tookMs }, 'answered a request');
  });
}
