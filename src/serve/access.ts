/**
 * Who may read and who may act. With a passphrase every read needs the sign-in or a token; what is open to strangers says
 * so in its route's configuration (`open`). Without one everybody reads and nobody acts.
 */
import { createHash, createHmac, hkdfSync, timingSafeEqual } from 'node:crypto';
import cookies from '@fastify/cookie';
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import type { Clock } from '../base/clock.ts';
import { sessionMsMax } from '../base/limits.ts';
import { hashPassphrase, isHashedPassphrase, passphraseMatches } from '../base/passphrase.ts';
import type { Record as Memoir } from '../record/record.ts';
import { type FormTokens, formTokensWith } from './form-tokens.ts';
import { signInPage } from './links.ts';
import { bodyOf, type ErrorPage, sendProblem, wantsPage } from './problems.ts';
import { type Sessions, sessionsIn } from './sessions.ts';
import type { Viewer } from './viewer.ts';

export interface AccessOptions {
  /** As typed or hashed; null: everybody reads. */
  readonly passphrase: string | null;
  readonly tokens: readonly string[];
  /** Of the data folder: 32 random bytes. */
  readonly key: Buffer;
}

interface AccessGiven extends AccessOptions {
  readonly record: Memoir;
  readonly clock: Clock;
  readonly base: string;
}

/** How one signs in and out. */
export interface Access {
  isPassphrase(text: string): Promise<boolean>;
  /** Begins a session under a new id, whatever came before, and gives the browser its cookie. */
  begin(request: FastifyRequest, reply: FastifyReply): Promise<void>;
  end(sessionId: string, reply: FastifyReply): Promise<void>;
  /** Whether somebody is still who they were: a stream outlasts a sign-out. */
  isStill(viewer: Viewer): boolean;
}

/** Null where everybody reads. */
export async function accessTo(
  app: FastifyInstance,
  given: AccessGiven | null,
  page: ErrorPage,
): Promise<Access | null> {
  app.decorateRequest('viewer');
  if (given === null || given.passphrase === null) {
    app.addHook('onRequest', async (request) => {
      request.viewer = { kind: 'anyone' };
    });
    return null;
  }
  const keys = await keysOf(given.passphrase, given.key);
  await app.register(cookies, { secret: keys.cookie });
  const sessions = await sessionsIn(given);
  const cookie = cookieOf(given);
  const viewerOf = viewerIn({
    cookieName: cookie.name,
    sessions,
    forms: formTokensWith(keys.form),
    digests: given.tokens.map(digestOf),
  });
  app.addHook('onRequest', async (request, reply) => {
    request.viewer = viewerOf(request);
    if (request.viewer.kind !== 'stranger' || request.routeOptions.config.open === true) return;
    return turnAway(request, reply, { base: given.base, page });
  });
  return {
    isPassphrase: inTurn((text) => passphraseMatches(text, keys.hashed)),
    begin: async (request, reply) => {
      const id = await sessions.begin();
      // A browser keeps a `Secure` cookie from a board on plain HTTP: only where TLS is known to be there.
      const secure = request.protocol === 'https';
      reply.setCookie(cookie.name, id, { ...cookie.options, secure });
    },
    end: async (sessionId, reply) => {
      await sessions.end(sessionId);
      reply.clearCookie(cookie.name, cookie.options);
    },
    isStill: (viewer) => viewer.kind !== 'owner' || sessions.isOpen(viewer.sessionId),
  };
}

/**
 * One derivation at a time: each takes 16 MiB. Everything hangs on the passphrase, so that another one ends all sessions;
 * its salt is the folder's own, so that a restart does not.
 */
async function keysOf(passphrase: string, key: Buffer) {
  const salt = createHmac('sha256', key).update('salt of the passphrase').digest().subarray(0, 16);
  const hashed = isHashedPassphrase(passphrase)
    ? passphrase
    : await hashPassphrase(passphrase, salt);
  const of = (use: string) => Buffer.from(hkdfSync('sha256', key, hashed, use, 32));
  return { hashed, cookie: of('cookies'), form: of('forms') };
}

function inTurn(check: (text: string) => Promise<boolean>): (text: string) => Promise<boolean> {
  let turn: Promise<unknown> = Promise.resolve();
  return (text) => {
    const checked = turn.then(() => check(text));
    turn = checked.catch(() => {});
    return checked;
  };
}

/** Ports do not part cookies (RFC 6265 §8.5): two boards on one host must not sign each other out. */
function cookieOf({ record, base }: AccessGiven) {
  return {
    name: `rollcall-${record.instanceId.slice(0, 8)}`,
    options: {
      path: base,
      httpOnly: true,
      sameSite: 'strict',
      signed: true,
      maxAge: sessionMsMax / 1_000,
    },
  } as const;
}

interface ViewerGiven {
  readonly cookieName: string;
  readonly sessions: Sessions;
  readonly forms: FormTokens;
  /** Of the tokens. */
  readonly digests: readonly Buffer[];
}

function viewerIn(given: ViewerGiven): (request: FastifyRequest) => Viewer {
  const { cookieName, sessions, forms, digests } = given;
  return (request) => {
    const signed = request.cookies[cookieName];
    const sessionId = signed === undefined ? null : request.unsignCookie(signed).value;
    if (sessionId && sessions.isOpen(sessionId)) {
      return {
        kind: 'owner',
        sessionId,
        formToken: () => forms.make(sessionId),
        isFormToken: (token) => forms.fits(sessionId, token),
      };
    }
    const token = /^Bearer +(\S+)$/i.exec(request.headers.authorization ?? '')?.[1];
    if (token !== undefined && isOneOf(digests, digestOf(token))) return { kind: 'program' };
    return { kind: 'stranger' };
  };
}

/** Digests are of one length, and all of them are compared: how long it takes says nothing. */
function isOneOf(digests: readonly Buffer[], digest: Buffer): boolean {
  return digests.map((known) => timingSafeEqual(known, digest)).includes(true);
}

function digestOf(token: string): Buffer {
  return createHash('sha256').update(token).digest();
}

/** A person is led to the sign-in and back from there, a program is told what it lacks (RFC 9110 §11.6.1). */
function turnAway(
  request: FastifyRequest,
  reply: FastifyReply,
  { base, page }: { readonly base: string; readonly page: ErrorPage },
): FastifyReply {
  const reads = request.method === 'GET' || request.method === 'HEAD';
  if (reads && wantsPage(request)) {
    return reply.header('vary', 'accept').redirect(signInPage({ base }, request.url), 303);
  }
  reply.header('www-authenticate', 'Bearer realm="Rollcall"');
  const detail = reads
    ? 'This board is read with a sign-in, or with a token in the Authorization header.'
    : 'Sign in first.';
  return sendProblem(request, reply, bodyOf(401, detail, request), page);
}
