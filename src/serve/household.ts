/**
 * The page for the household, on a listener of its own: names and states, and nothing else. It is made of a view that
 * holds no more than that, from what lies in memory: no record is read, so that neither an answer nor the time that it
 * takes says anything of the rest. There is one path; everything else is answered as if it were not there.
 */
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { hostname } from 'node:os';
import Fastify, { type FastifyInstance, type FastifyReply } from 'fastify';
import { HouseholdPage } from '../../web/pages/household.tsx';
import { webFolder } from './assets.ts';
import type { BoardOptions } from './board.ts';
import { checkHost } from './host-check.ts';
import { householdView } from './household-view.ts';
import { boundConnections, listenerOptions } from './listener.ts';
import { htmlOf } from './render.ts';
import { sendSecurityHeaders } from './security.ts';
import { zoneOf } from './zone.ts';

/** `listenHost`: the address on which the caller lets it listen. */
export async function createHousehold(
  options: BoardOptions,
  listenHost: string,
): Promise<FastifyInstance> {
  const { log, proxies, clock, hostnames = [] } = options;
  const zone = zoneOf(options.board.timezone);
  const style = readFileSync(new URL('style.css', options.assets ?? webFolder), 'utf8');
  const app = Fastify({
    ...listenerOptions(proxies),
    // Whatever else is asked for takes one and the same way from here on.
    rewriteUrl: ({ url = '/' }) => (/^\/(\?|$)/.test(url) ? '/' : '/nothing'),
  });
  boundConnections(app);
  await sendSecurityHeaders(app, {
    // The style stands in the page, since nothing but the page is served: named by its content, no other is let in.
    'style-src': [`'sha256-${createHash('sha256').update(style).digest('base64')}'`],
    'img-src': ['data:'],
  });
  app.addHook('onRequest', async (_request, reply) => {
    reply.header('cache-control', 'no-store');
  });
  checkHost(app, { listenHost, names: [hostname(), ...hostnames] });
  app.setNotFoundHandler((_request, reply) => nothingHere(reply));
  app.setErrorHandler((error: Error, _request, reply) => {
    log.error({ error: error.message, stack: error.stack }, 'the page of the household failed');
    return plain(reply, 500, 'Something went wrong here.');
  });
  app.get('/', async (_request, reply) => {
    const html = htmlOf(HouseholdPage, householdView(options, zone, clock.wallMs()));
    const page = html.replace('<style></style>', () => `<style>${style}</style>`);
    return reply.type('text/html; charset=utf-8').send(page);
  });
  await app.ready();
  return app;
}

function nothingHere(reply: FastifyReply): FastifyReply {
  return plain(reply, 404, 'There is nothing at this address.');
}

function plain(reply: FastifyReply, status: number, text: string): FastifyReply {
  return reply.code(status).type('text/plain; charset=utf-8').send(`${text}\n`);
}
