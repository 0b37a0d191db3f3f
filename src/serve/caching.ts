/**
 * What a browser may keep, and how little is sent again (RFC 9111, RFC 9110 §8.8.3 and §13.1.2). Pages are of this moment
 * and hold tokens of a session: nobody keeps them. What programs fetch may be kept by who fetched it, and is asked for
 * again each time; while it is the same, nothing but its tag comes back. Files that are named by their content: assets.ts.
 */
import { createHash } from 'node:crypto';
import type { FastifyInstance } from 'fastify';

const tagged = /^\/(api\/|openapi\.json|feed\.atom)/;

export function sayWhatMayBeKept(app: FastifyInstance): void {
  app.addHook('onRequest', async (request, reply) => {
    reply.header('cache-control', tagged.test(request.url) ? 'private, no-cache' : 'no-store');
  });
  app.addHook('onSend', async (request, reply, payload) => {
    if (!tagged.test(request.url) || reply.sent) return payload;
    if (reply.statusCode !== 200 || typeof payload !== 'string') {
      reply.header('cache-control', 'no-store');
      return payload;
    }
    // Weak: compressed or not, it is the same to who reads it.
    const etag = `W/"${createHash('sha256').update(payload).digest('base64url').slice(0, 22)}"`;
    reply.header('etag', etag);
    if (!matches(request.headers['if-none-match'], etag)) return payload;
    reply.code(304).removeHeader('content-length');
    return '';
  });
}

/** By weak comparison, as If-None-Match wants it. */
function matches(field: string | undefined, etag: string): boolean {
  if (field === undefined) return false;
  const opaque = (tag: string) => tag.trim().replace(/^W\//, '');
  return field.trim() === '*' || field.split(',').some((tag) => opaque(tag) === opaque(etag));
}
