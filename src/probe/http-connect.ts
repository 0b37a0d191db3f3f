/** The way to an HTTP server: resolve, connect, secure. What comes out may be written to: the peer has proved itself. */
import { isIP, type Socket } from 'node:net';
import { type ConnectionOptions, connect as connectTls, type TLSSocket } from 'node:tls';
import type { Trouble } from '../base/values.ts';
import { type CertificateFacts, judgeCertificate } from './certificate.ts';
import { connectInTurn } from './connect.ts';
import { cutShort, type Deadline, sayLimit } from './deadline.ts';
import { done, type Step, stuck } from './decoding.ts';
import { errorCode, handshakeTrouble, networkTrouble } from './network-errors.ts';
import { type Course, trouble } from './observe.ts';
import type { ProbeContext } from './probe.ts';
import { resolveHost, type Target } from './resolve.ts';
import type { CertificateSettings } from './settings/certificate.ts';
import { hostPort } from './settings/words.ts';
import { secureOptions, shownBy } from './trust.ts';

export interface HttpScope {
  readonly context: ProbeContext;
  readonly deadline: Deadline;
  readonly course: Course;
}

export interface Way {
  readonly url: URL;
  /** Asked in place of the URL's host and port; the name stays the URL's. */
  readonly connect: Target | null;
  readonly certificate: CertificateSettings;
}

type Reached =
  | { readonly ok: true; readonly socket: Socket; readonly certificate: CertificateFacts }
  | { readonly ok: false; readonly trouble: Trouble; readonly certificate: CertificateFacts };

/** An open connection that belongs to the caller; over TLS only after the certificate was found good. */
export async function reach(way: Way, scope: HttpScope): Promise<Reached> {
  const target = way.connect ?? targetOf(way.url);
  if (isIP(target.host) === 0) scope.course.phase('resolve');
  const addresses = await resolveHost({ ...scope, target });
  if (!addresses.ok) return { ...addresses, certificate: {} };
  scope.course.phase('connect');
  const plain = await connectInTurn(addresses.value, { ...scope, target });
  if (!plain.ok) return { ...plain, certificate: {} };
  if (way.url.protocol === 'http:') return { ok: true, socket: plain.value, certificate: {} };
  scope.course.phase('secure');
  return await secure(plain.value, way, { ...scope, target });
}

/** `host:port` of what is asked, for sentences. */
export function whereOf(way: Way): string {
  const { host, port } = way.connect ?? targetOf(way.url);
  return hostPort(host, port);
}

function targetOf(url: URL): Target {
  const usualPort = url.protocol === 'https:' ? 443 : 80;
  return {
    host: bareHost(url),
    port: url.port === '' ? usualPort : Number(url.port),
  };
}

function bareHost(url: URL): string {
  return url.hostname.replace(/^\[(.*)\]$/, '$1');
}

async function secure(
  plain: Socket,
  way: Way,
  scope: HttpScope & { readonly target: Target },
): Promise<Reached> {
  const name = bareHost(way.url);
  const options = { ...secureOptions(way.certificate, name), ALPNProtocols: ['http/1.1'] };
  const secured = await handshake(plain, options, scope);
  if (!secured.ok) return { ...secured, certificate: {} };
  const socket = secured.value;
  const nowMs = scope.context.clock.wallMs();
  const verdict = judgeCertificate(shownBy(socket), { name, settings: way.certificate, nowMs });
  if (verdict.trouble === null) return { ok: true, socket, certificate: verdict.facts };
  socket.destroySoon();
  return { ok: false, trouble: verdict.trouble, certificate: verdict.facts };
}

function handshake(
  plain: Socket,
  options: ConnectionOptions,
  { target, context, deadline }: HttpScope & { readonly target: Target },
): Promise<Step<TLSSocket>> {
  const where = hostPort(target.host, target.port);
  return new Promise((resolve) => {
    let forget = () => {};
    const socket = connectTls({ ...options, socket: plain });
    const settle = (step: Step<TLSSocket>) => {
      forget();
      if (!step.ok) socket.destroy();
      resolve(step);
    };
    // Stays for the socket's life: an alert may come between the handshake and the request, and would end the process.
    socket.on('error', (error) => settle(stuck(broken(error, where))));
    socket.once('close', () => settle(stuck(handshakeTrouble(null, where))));
    socket.once('secureConnect', () => settle(done(socket)));
    forget = deadline.whenOver(() => settle(stuck(late())));
  });

  function late(): Trouble {
    if (deadline.over() === 'stopped') return cutShort();
    const limit = sayLimit(context.timeoutMs);
    return trouble(
      'no-reply',
      `${where} accepts connections but did not answer the TLS handshake within ${limit}`,
    );
  }
}

/** Node calls a FIN during the handshake ECONNRESET too, but only a real reset comes from a system call. */
function broken(error: Error, where: string): Trouble {
  const real = errorCode(error) !== 'EPROTO' && 'syscall' in error;
  return (real ? networkTrouble(error, where) : null) ?? handshakeTrouble(error, where);
}
