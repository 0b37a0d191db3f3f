/** Headers that every answer carries, unless its route says otherwise. The board is plain HTTP at home: nothing that would force or presume TLS. */
import helmet from '@fastify/helmet';
import type { FastifyInstance } from 'fastify';

export async function sendSecurityHeaders(app: FastifyInstance): Promise<void> {
  await app.register(helmet, {
    contentSecurityPolicy: {
      // Its defaults hold `upgrade-insecure-requests`, which breaks a page on plain HTTP.
      useDefaults: false,
      directives: {
        'default-src': ["'none'"],
        'style-src': ["'self'"],
        'script-src': ["'self'"],
        'connect-src': ["'self'"],
        'img-src': ["'self'"],
        'base-uri': ["'none'"],
        'form-action': ["'self'"],
        'frame-ancestors': ["'none'"],
      },
    },
    strictTransportSecurity: false,
    // Nobody else hears of it; without any, browsers would send our own forms with `Origin: null` (forms.ts).
    referrerPolicy: { policy: 'same-origin' },
    xFrameOptions: { action: 'deny' },
    // Browsers heed both over TLS only, and complain about them otherwise.
    crossOriginOpenerPolicy: false,
    originAgentCluster: false,
  });
  // What is shown is of this moment; only what is named by its content may be kept (assets.ts).
  app.addHook('onRequest', async (_request, reply) => {
    reply.header('cache-control', 'no-store');
  });
}
