/** Headers that every answer carries, unless its route says otherwise. The board is plain HTTP at home: nothing that would force or presume TLS. */
import helmet from '@fastify/helmet';
import type { FastifyInstance } from 'fastify';

type Directives = Readonly<Record<string, readonly string[]>>;

/** What the board's own pages may load: nothing from elsewhere, nothing that is written into them. */
const boardDirectives: Directives = {
  'style-src': ["'self'"],
  'script-src': ["'self'"],
  'connect-src': ["'self'"],
  'img-src': ["'self'"],
  'form-action': ["'self'"],
};

/** `directives`: what may be loaded, where not even that of the board is wanted. */
export async function sendSecurityHeaders(
  app: FastifyInstance,
  directives: Directives = boardDirectives,
): Promise<void> {
  await app.register(helmet, {
    contentSecurityPolicy: {
      // Its defaults hold `upgrade-insecure-requests`, which breaks a page on plain HTTP.
      useDefaults: false,
      directives: {
        'default-src': ["'none'"],
        'base-uri': ["'none'"],
        'form-action': ["'none'"],
        'frame-ancestors': ["'none'"],
        ...directives,
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
}
