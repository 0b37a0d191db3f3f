/** Signing in and out: one form, attempts limited, and back to where one wanted to go. */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { SignInPage } from '../../web/pages/sign-in.tsx';
import {
  passphraseCharsMax,
  signInsAllCountMax,
  signInsEachCountMax,
  signInWindowMs,
} from '../base/limits.ts';
import type { Access } from './access.ts';
import type { Assets } from './assets.ts';
import type { Board } from './board.ts';
import { fieldsOf, ownerFieldsOf } from './forms.ts';
import { limiterOf, networkOf } from './limiter.ts';
import { rollPage, signInPage } from './links.ts';
import { htmlOf } from './render.ts';
import { sayLasting } from './zone.ts';

interface SignInGiven {
  readonly board: Board;
  readonly access: Access;
  readonly assets: Assets;
}

export function serveSignIn(app: FastifyInstance, { board, access, assets }: SignInGiven): void {
  const limiter = limiterOf({
    clock: board.clock,
    windowMs: signInWindowMs,
    eachCountMax: signInsEachCountMax,
    allCountMax: signInsAllCountMax,
  });
  const form = (reply: FastifyReply, to: string, wrong: string | null) =>
    reply.type('text/html; charset=utf-8').send(
      htmlOf(SignInPage, {
        icon: assets.iconHref('new'),
        styleHref: assets.styleHref,
        action: signInPage(board, null),
        to,
        onwards: within(board, to),
        wrong,
      }),
    );
  const route = { schema: { hide: true }, config: { open: true } };

  app.get('/sign-in', route, async (request, reply) => {
    const to = localPath((request.query as { to?: unknown }).to);
    if (request.viewer.kind === 'owner') return reply.redirect(within(board, to), 303);
    return form(reply, to, null);
  });

  app.post('/sign-in', route, async (request: FastifyRequest, reply) => {
    const fields = fieldsOf(request);
    const to = localPath(fields.get('to'));
    const from = networkOf(request.ip);
    const waitMs = limiter.take(from);
    if (waitMs !== null) {
      board.log.warn({ from: request.ip }, 'too many attempts to sign in');
      reply.code(429).header('retry-after', Math.ceil(waitMs / 1_000));
      return form(reply, to, `Too many attempts. Try again in ${sayLasting(waitMs)}.`);
    }
    const passphrase = fields.get('passphrase') ?? '';
    const isRight = await access.isPassphrase(passphrase);
    if (!isRight || passphrase.length > passphraseCharsMax) {
      board.log.warn({ from: request.ip }, 'a wrong passphrase was tried');
      return form(reply.code(403), to, 'This is not the passphrase.');
    }
    limiter.forgive(from);
    // Whoever was signed in by this browser before is not any more.
    if (request.viewer.kind === 'owner') await access.end(request.viewer.sessionId, reply);
    await access.begin(request, reply);
    board.log.info({ from: request.ip }, 'signed in');
    return reply.redirect(within(board, to), 303);
  });

  app.post('/sign-out', { schema: { hide: true } }, async (request, reply) => {
    const { owner } = ownerFieldsOf(request);
    await access.end(owner.sessionId, reply);
    board.log.info({ from: request.ip }, 'signed out');
    return reply.redirect(signInPage(board, null), 303);
  });
}

function within(board: Board, path: string): string {
  return `${rollPage(board)}${path.slice(1)}`;
}

/** A path of this board, whatever was asked for: never another host (an open redirect), never the sign-in itself. */
export function localPath(to: unknown): string {
  if (typeof to !== 'string' || to.length > 500 || !/^\/[\x21-\x7e]*$/.test(to)) return '/';
  const here = 'http://board.invalid';
  if (!URL.canParse(to, here)) return '/';
  const { origin, pathname, search } = new URL(to, here);
  // `/a/..//other.example` is a path for the parser, and another host for a browser.
  if (origin !== here || pathname.startsWith('//') || /^\/sign-(in|out)\b/.test(pathname)) {
    return '/';
  }
  return pathname + search;
}
