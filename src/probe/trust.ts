/** The TLS side of a probe: a handshake that accepts everything at first, so that the certificate can be judged in full. */
import { X509Certificate } from 'node:crypto';
import { readFileSync, statSync } from 'node:fs';
import { isIP } from 'node:net';
import {
  type ConnectionOptions,
  createSecureContext,
  type DetailedPeerCertificate,
  type SecureContext,
  type TLSSocket,
} from 'node:tls';
import type { ShownCertificate } from './certificate.ts';
import type { CertificateSettings } from './settings/certificate.ts';

/** Issuers that are followed; a peer may send loops. */
const chainCountMax = 10;
/** Contexts kept: one for each authority that the configuration names. */
const contextsCountMax = 64;

/** Where distributions keep the authorities of the machine (Debian, Fedora, Alpine); common practice, no source. */
const storePaths = [
  '/etc/ssl/certs/ca-certificates.crt',
  '/etc/pki/tls/certs/ca-bundle.crt',
  '/etc/ssl/cert.pem',
];

const contexts = new Map<string, SecureContext>();

/**
 * For `tls.connect`, besides host and port or a socket. No name is sent for an address (RFC 6066 §3).
 * Nothing may be written before `judgeCertificate` has passed what `shownBy` tells.
 */
export function secureOptions(settings: CertificateSettings, name: string): ConnectionOptions {
  const bare = name.replace(/\.$/, '');
  return {
    ...(isIP(bare.replace(/^\[(.*)\]$/, '$1').replace(/%.*$/, '')) === 0
      ? { servername: bare }
      : {}),
    secureContext: contextFor(settings.trust),
    rejectUnauthorized: false,
    // Names are judged in `certificate.ts`.
    checkServerIdentity: () => undefined,
  };
}

/** To be called once the handshake is done (`secureConnect`). */
export function shownBy(socket: TLSSocket): ShownCertificate {
  const chain: X509Certificate[] = [];
  const seen = new Set<string>();
  let next: DetailedPeerCertificate | undefined = socket.getPeerCertificate(true);
  while (
    next?.raw !== undefined &&
    chain.length < chainCountMax &&
    !seen.has(next.fingerprint256)
  ) {
    seen.add(next.fingerprint256);
    chain.push(new X509Certificate(next.raw));
    next = next.issuerCertificate;
  }
  // Typed as an Error; in truth the code, as text.
  const verifyError: unknown = socket.authorizationError;
  return { chain, verifyError: socket.authorized ? null : codeOf(verifyError) };
}

function codeOf(verifyError: unknown): string {
  if (verifyError instanceof Error)
    return 'code' in verifyError ? String(verifyError.code) : verifyError.message;
  return typeof verifyError === 'string' ? verifyError : 'UNKNOWN';
}

/** Reading a store takes many milliseconds: a context is made once for each set of authorities. */
function contextFor(trust: string): SecureContext {
  const store = trust === 'system' ? machineStore() : null;
  const key = store === null ? trust : `${store.path} ${store.changedMs}`;
  const known = contexts.get(key);
  if (known !== undefined) return known;
  const made = createSecureContext(authorities(trust, store));
  if (contexts.size >= contextsCountMax) contexts.clear();
  contexts.set(key, made);
  return made;
}

function authorities(trust: string, store: { path: string } | null): { ca?: string } {
  if (store !== null) return { ca: readFileSync(store.path, 'latin1') };
  // The store that Node brings, where the machine has none.
  return trust === 'system' || trust === 'any' ? {} : { ca: trust };
}

function machineStore(): { path: string; changedMs: number } | null {
  for (const path of storePaths) {
    const stat = statSync(path, { throwIfNoEntry: false });
    if (stat?.isFile() === true && stat.size > 0) return { path, changedMs: stat.mtimeMs };
  }
  return null;
}
