/**
 * Which names a request may call the board by. A page elsewhere could let its own name point here (DNS rebinding) and
 * read the board with the owner's browser; it cannot make that browser send another `Host` than its own name.
 */
import { isIP } from 'node:net';
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { cleanText } from '../base/text.ts';
import { bodyOf, sendProblem } from './problems.ts';

export interface HostRules {
  /** The address listened on; `0.0.0.0` or `::` for all. */
  readonly listenHost: string;
  /** Names of this machine, and others that are allowed. */
  readonly names: readonly string[];
}

/** Names under these are given out by nobody (RFC 6762, RFC 8375, RFC 6761, ICANN 2024), so nobody else can hold one. */
const privateSuffixes = ['local', 'home.arpa', 'internal', 'localhost'];

const whatWorks =
  'Open it by its address, by the name of its machine, or, on that machine, as localhost. Its owner can let it go by more names: `board.names` in the configuration.';

export function checkHost(app: FastifyInstance, rules: HostRules): void {
  const allowed = hostAllowed(rules);
  app.addHook('onRequest', async (request, reply) => {
    if (hostsIn(request) > 1) {
      const problem = bodyOf(400, 'A request names one host (RFC 9112 §3.2).', request);
      return sendProblem(request, reply, problem, null);
    }
    // An address in the place of the path counts before `Host` (RFC 9112 §3.2.2); a named proxy says what it was called by.
    const host = /^https?:\/\/([^/?#]*)/i.exec(request.originalUrl)?.[1] ?? request.host;
    if (allowed(host)) return;
    // Never a page, and not the name of the machine: whoever is refused gets nothing of the board.
    const name = cleanText(host || '(none)', 100);
    const detail = `This board does not go by the name ${name}. ${whatWorks}`;
    return sendProblem(request, reply, bodyOf(421, detail, request), null);
  });
}

function hostsIn({ raw }: FastifyRequest): number {
  return raw.rawHeaders.filter((text, place) => place % 2 === 0 && /^host$/i.test(text)).length;
}

/** Whether a `Host` header (RFC 9110 §7.2: host, perhaps with a port) names this board. */
export function hostAllowed(rules: HostRules): (host: string | undefined) => boolean {
  const listenHost = bare(rules.listenHost);
  const everywhere = listenHost === '0.0.0.0' || listenHost === '::';
  const names = new Set(['localhost', listenHost, ...rules.names.flatMap(namesOf)]);
  return (host) => {
    const name = nameIn(host);
    if (name === null) return false;
    if (names.has(name)) return true;
    // An address is no name: nobody can let it point elsewhere.
    return isIP(name) !== 0 && (everywhere || isLoopback(name));
  };
}

/** `fernhill` goes by `fernhill.local` and the like as well. */
function namesOf(name: string): string[] {
  const whole = name.toLowerCase().replace(/\.$/, '');
  if (whole === '' || isIP(whole) !== 0) return [];
  const label = whole.split('.')[0] ?? whole;
  return [whole, label, ...privateSuffixes.map((suffix) => `${label}.${suffix}`)];
}

/** The host without port, brackets and final dot, in lower case; null when it is none. */
function nameIn(host: string | undefined): string | null {
  const match = /^(?:\[([0-9a-f:.]+)\]|([a-z0-9._-]+?)\.?)(?::\d{1,5})?$/i.exec(host ?? '');
  const name = match?.[1] ?? match?.[2];
  return name ? name.toLowerCase() : null;
}

function bare(host: string): string {
  return host.toLowerCase().replace(/^\[(.*)\]$/, '$1');
}

function isLoopback(address: string): boolean {
  return address === '::1' || /^127\./.test(address);
}
