/**
 * What the certificate that a peer showed is worth: name, dates and trust, each judged apart, because OpenSSL's verdict
 * is a single code in which the last problem found hides the others. Pure: the instant comes in as a value.
 *
 * Sources: names RFC 9525 §6 (subjectAltName only, the common name never); dates RFC 5280 §4.1.2.5 (both ends
 * inclusive); pins RFC 7469 §2.4, taken of the end certificate alone.
 */
import { createHash, type X509Certificate } from 'node:crypto';
import { isIP } from 'node:net';
import { domainToASCII } from 'node:url';
import type { Reason } from '../base/reasons.ts';
import { cleanText } from '../base/text.ts';
import type { Trouble } from '../base/values.ts';
import { trouble } from './observe.ts';
import type { CertificateSettings } from './settings/certificate.ts';

const dayMs = 86_400_000;
const warnMsMax = 21 * dayMs;

/** What a handshake brought to light; `trust.ts` reads it off a socket. */
export interface ShownCertificate {
  /** End certificate first, then its issuers; empty when the peer showed none. */
  readonly chain: readonly X509Certificate[];
  /** The code of Node's `authorizationError`; null when OpenSSL found a trusted path. */
  readonly verifyError: string | null;
}

export interface CertificateWanted {
  /** The name or address under which the service is asked. */
  readonly name: string;
  readonly settings: CertificateSettings;
  /** Milliseconds since the epoch. */
  readonly nowMs: number;
}

/** Of the certificate that ends first, but the issuer of the end certificate. Absent: nothing readable was shown. */
export type CertificateFacts = {
  readonly certificateIssuer?: string;
  /** ISO 8601, UTC. */
  readonly certificateEndsAt?: string;
  /** Whole days, negative once it has ended. */
  readonly certificateDaysLeft?: number;
  /** It ends soon: a flag, not an outcome (design §5). */
  readonly certificateWarn?: true;
};

export interface CertificateVerdict {
  /** Null: an ordinary client would go on. */
  readonly trouble: Trouble | null;
  readonly facts: CertificateFacts;
}

interface Problem {
  readonly reason: Reason;
  readonly detail: string;
}

interface Validity {
  readonly fromMs: number;
  readonly toMs: number;
}

/** The reason is that of the first problem (pin, dates, name, trust); the detail names all of them. */
export function judgeCertificate(
  shown: ShownCertificate,
  wanted: CertificateWanted,
): CertificateVerdict {
  const leaf = shown.chain[0];
  if (leaf === undefined) {
    return {
      trouble: troubleOf([{ reason: 'handshake-failed', detail: 'it showed no certificate' }]),
      facts: {},
    };
  }
  const counted = countedCertificates(shown, wanted);
  const problems = [
    pinProblem(leaf, wanted.settings.pin),
    ...counted.map((one, index) => dateProblem(one, index, wanted.nowMs)),
  ].filter((problem) => problem !== null);
  if (wanted.settings.pin === undefined) {
    problems.push(...nameProblem(leaf, wanted.name), ...trustProblem(shown, wanted, problems));
  }
  return { trouble: troubleOf(problems), facts: factsOf(leaf, counted, wanted) };
}

/** `sha256/…` of the key in a certificate, as RFC 7469 §2.4 writes it. */
export function pinOf(one: X509Certificate): string {
  const spki = one.publicKey.export({ type: 'spki', format: 'der' });
  return `sha256/${createHash('sha256').update(spki).digest('base64')}`;
}

/**
 * Those whose dates count. Nobody above the end certificate does when no authority is asked for. When OpenSSL found a
 * trusted path, an issuer out of date is one that the path went round: servers go on sending old cross-signed ones.
 */
function countedCertificates(
  shown: ShownCertificate,
  { settings, nowMs }: CertificateWanted,
): readonly X509Certificate[] {
  if (settings.pin !== undefined || settings.trust === 'any') return shown.chain.slice(0, 1);
  if (!foundTrustedPath(shown.verifyError)) return shown.chain;
  return shown.chain.filter((one, index) => index === 0 || dateProblem(one, index, nowMs) === null);
}

/** Node compares the name only after the path was found good. */
function foundTrustedPath(verifyError: string | null): boolean {
  return verifyError === null || verifyError === 'ERR_TLS_CERT_ALTNAME_INVALID';
}

function pinProblem(leaf: X509Certificate, pin: string | undefined): Problem | null {
  if (pin === undefined) return null;
  const seen = pinOfAnyKey(leaf);
  return seen === pin ? null : { reason: 'pin-differs', detail: `its key is ${seen}, not ${pin}` };
}

/** A key of a kind that OpenSSL does not know cannot be read: then it is not the pinned one either. */
function pinOfAnyKey(one: X509Certificate): string {
  try {
    return pinOf(one);
  } catch {
    return 'of an unknown kind';
  }
}

function validityOf(one: X509Certificate): Validity {
  return { fromMs: Date.parse(one.validFrom), toMs: Date.parse(one.validTo) };
}

/** Certificates know whole seconds, and the whole last second is still within. */
function dateProblem(one: X509Certificate, index: number, nowMs: number): Problem | null {
  const { fromMs, toMs } = validityOf(one);
  const whose =
    index === 0 ? 'its certificate' : `the certificate above it (${cleanText(one.subject, 80)})`;
  if (Number.isNaN(fromMs) || Number.isNaN(toMs)) {
    return { reason: 'handshake-failed', detail: `${whose} has dates that cannot be read` };
  }
  if (Math.floor(nowMs / 1_000) * 1_000 > toMs) {
    return { reason: 'expired', detail: `${whose} ended at ${sayInstant(toMs)}` };
  }
  if (nowMs < fromMs) {
    return { reason: 'not-yet-valid', detail: `${whose} begins only at ${sayInstant(fromMs)}` };
  }
  return null;
}

function nameProblem(leaf: X509Certificate, name: string): readonly Problem[] {
  if (carriesName(leaf, name)) return [];
  const names = leaf.subjectAltName;
  const detail =
    names === undefined
      ? 'its certificate carries no subjectAltName (a common name does not count)'
      : `its certificate is for ${cleanText(names, 120)}, not for ${cleanText(name, 120)}`;
  return [{ reason: 'wrong-name', detail }];
}

function carriesName(leaf: X509Certificate, name: string): boolean {
  const bare = name.replace(/^\[(.*)\]$/, '$1').replace(/%.*$/, '');
  if (isIP(bare) !== 0) return leaf.checkIP(bare) !== undefined;
  const ascii = domainToASCII(bare.replace(/\.$/, ''));
  return leaf.checkHost(ascii, { subject: 'never', partialWildcards: false }) !== undefined;
}

const dateCodes: ReadonlyMap<string, Reason> = new Map([
  ['CERT_HAS_EXPIRED', 'expired'],
  ['CERT_NOT_YET_VALID', 'not-yet-valid'],
]);

function trustProblem(
  { verifyError }: ShownCertificate,
  { settings }: CertificateWanted,
  dateProblems: readonly Problem[],
): readonly Problem[] {
  if (settings.trust === 'any' || verifyError === null || foundTrustedPath(verifyError)) return [];
  const dateReason = dateCodes.get(verifyError);
  if (dateReason === undefined) {
    return [{ reason: 'untrusted', detail: `${sayVerifyError(verifyError)} (${verifyError})` }];
  }
  // OpenSSL's clock and ours may differ by a moment: its refusal stands even where ours finds nothing.
  if (dateProblems.length > 0) return [];
  return [
    { reason: dateReason, detail: `a certificate of its chain is out of date (${verifyError})` },
  ];
}

function sayVerifyError(code: string): string {
  switch (code) {
    case 'DEPTH_ZERO_SELF_SIGNED_CERT':
      return 'its certificate is signed by itself';
    case 'SELF_SIGNED_CERT_IN_CHAIN':
      return 'its certificate is signed by an authority that is not trusted here';
    case 'UNABLE_TO_VERIFY_LEAF_SIGNATURE':
    case 'UNABLE_TO_GET_ISSUER_CERT':
    case 'UNABLE_TO_GET_ISSUER_CERT_LOCALLY':
      return 'the issuer of its certificate was neither sent nor is it trusted here';
    default:
      return 'its certificate was not accepted';
  }
}

function troubleOf(problems: readonly Problem[]): Trouble | null {
  const first = problems[0];
  if (first === undefined) return null;
  return trouble(first.reason, problems.map((one) => one.detail).join('; '));
}

/** The certificate that ends first tells: when it ends, the service does. */
function factsOf(
  leaf: X509Certificate,
  counted: readonly X509Certificate[],
  { settings, nowMs }: CertificateWanted,
): CertificateFacts {
  const issuer = { certificateIssuer: cleanText(leaf.issuer, 120) };
  const first = counted
    .map(validityOf)
    .filter(({ fromMs, toMs }) => !Number.isNaN(fromMs) && !Number.isNaN(toMs))
    .sort((a, b) => a.toMs - b.toMs)[0];
  if (first === undefined) return issuer;
  const leftMs = first.toMs - nowMs;
  const warnMs = settings.warn ?? Math.min(warnMsMax, (first.toMs - first.fromMs) / 3);
  return {
    ...issuer,
    certificateEndsAt: new Date(first.toMs).toISOString(),
    certificateDaysLeft: Math.floor(leftMs / dayMs),
    ...(leftMs < warnMs ? { certificateWarn: true } : {}),
  };
}

/** `2026-11-25 04:00 UTC`. */
function sayInstant(atMs: number): string {
  return `${new Date(atMs).toISOString().slice(0, 16).replace('T', ' ')} UTC`;
}
