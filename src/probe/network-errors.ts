/**
 * What an error of the network says about the peer: error code -> trouble.
 * Meanings as seen on Linux with Node 20 and in errno(3), connect(2), getaddrinfo(3): a firewall that rejects with
 * port-unreachable looks like a closed port, one that rejects as prohibited looks like an unreachable host.
 */
import type { Reason } from '../base/reasons.ts';
import type { Trouble } from '../base/values.ts';
import { trouble } from './observe.ts';

interface Told {
  readonly reason: Reason;
  /** `where` is `host:port`. */
  readonly say: (where: string) => string;
  readonly hint?: string;
}

const unreachable: Told = {
  reason: 'unreachable',
  say: (where) => `there is no way to the host of ${where}`,
  hint: 'Is the host switched on and connected? If it is, look for a firewall that refuses this machine.',
};
const noRoute: Told = {
  reason: 'no-route',
  say: (where) => `this machine has no route to ${where}`,
};
const rejected: Told = {
  reason: 'rejected',
  say: (where) => `a firewall refuses the way to ${where}`,
};
const reset: Told = {
  reason: 'reset',
  say: (where) => `${where} cut the connection`,
};
const notFound: Told = {
  reason: 'not-found',
  say: (where) => `the name in ${where} has no address`,
};

const told = new Map<string, Told>(
  Object.entries({
    // getaddrinfo(3); Node reports EAI_NONAME and EAI_NODATA as ENOTFOUND.
    ENOTFOUND: notFound,
    EAI_ADDRFAMILY: notFound,
    EAI_AGAIN: {
      reason: 'no-answer',
      say: (where) => `no name server answered for the name in ${where}`,
    },
    EAI_FAIL: {
      reason: 'server-failure',
      say: (where) => `the name server failed to look up the name in ${where}`,
    },
    // connect(2) and the ICMP messages behind it
    ECONNREFUSED: {
      reason: 'refused',
      say: (where) => `nothing listens on ${where}`,
    },
    EHOSTUNREACH: unreachable,
    EHOSTDOWN: unreachable,
    ENETUNREACH: noRoute,
    ENETDOWN: noRoute,
    EADDRNOTAVAIL: noRoute,
    EAFNOSUPPORT: noRoute,
    // A link-local IPv6 address without its interface (`fe80::1` instead of `fe80::1%eth0`).
    EINVAL: noRoute,
    EACCES: { ...rejected, hint: 'Look at the outgoing firewall rules of this machine.' },
    EPERM: { ...rejected, hint: 'Look at the outgoing firewall rules of this machine.' },
    ENOPROTOOPT: rejected,
    ETIMEDOUT: {
      reason: 'timed-out',
      say: (where) => `${where} did not answer in time`,
    },
    // an open connection
    ECONNRESET: reset,
    ECONNABORTED: reset,
    EPIPE: reset,
  }),
);

/**
 * The trouble that an error of `connect`, `lookup`, `read` or `write` tells.
 * Null when it says nothing about the peer (this machine ran out of descriptors or memory, a defect): throw that on.
 */
export function networkTrouble(thrown: unknown, where: string): Trouble | null {
  const meaning = told.get(errorCode(thrown) ?? '');
  return meaning ? trouble(meaning.reason, meaning.say(where), meaning.hint) : null;
}

/** Codes of OpenSSL as Node writes them, `ERR_SSL_` taken off: a part of the code -> what it means. */
const handshakeTold: readonly (readonly [part: RegExp, detail: string, hint?: string])[] = [
  [/WRONG_VERSION_NUMBER|PACKET_LENGTH_TOO_LONG|HTTP_REQUEST/, 'does not speak TLS'],
  [/PROTOCOL_VERSION|UNSUPPORTED_PROTOCOL|UNSUPPORTED_SSL/, 'accepts no TLS version that is safe'],
  [
    /CERTIFICATE_REQUIRED/,
    'asks for a client certificate',
    'The service wants a certificate of each client, and the probe has none. Ask it by a way that does without.',
  ],
  [/UNRECOGNIZED_NAME/, 'knows no service of this name'],
];

/** The trouble of an error, or of a close (null), in the middle of a TLS handshake. */
export function handshakeTrouble(thrown: unknown, where: string): Trouble {
  const code = errorCode(thrown);
  if (code === null || !/^(?:ERR_SSL_|EPROTO)/.test(code)) {
    return trouble('handshake-failed', `${where} cut the connection during the TLS handshake`);
  }
  const [, detail, hint] = handshakeTold.find(([part]) => part.test(code)) ?? [];
  return detail
    ? trouble('handshake-failed', `${where} ${detail}`, hint)
    : trouble('handshake-failed', `the TLS handshake with ${where} failed (${code})`);
}

/** The system's or Node's code of an error, of the first of several, or of its cause. */
export function errorCode(thrown: unknown): string | null {
  if (!(thrown instanceof Error)) return null;
  if ('code' in thrown && typeof thrown.code === 'string') return thrown.code;
  if (thrown instanceof AggregateError) return errorCode(thrown.errors[0]);
  return errorCode(thrown.cause);
}
