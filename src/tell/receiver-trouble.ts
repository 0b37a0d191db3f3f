/**
 * What went wrong with a receiver, as a text for the owner that gives nothing away: the host and port are named,
 * what stands behind them in the URL, and the headers, may be secrets and are not.
 */
import { errors } from 'undici';
import { cleanText } from '../base/text.ts';

/** Codes of the system, of Node's TLS and of undici; `where` is `host:port`. */
const texts = new Map<string, (where: string) => string>(
  Object.entries({
    ENOTFOUND: (where) => `the name in ${where} has no address`,
    EAI_AGAIN: (where) => `no name server answered for the name in ${where}`,
    ECONNREFUSED: (where) => `nothing listens on ${where}`,
    EHOSTUNREACH: (where) => `there is no way to the host of ${where}`,
    ENETUNREACH: (where) => `this machine has no route to ${where}`,
    ETIMEDOUT: (where) => `${where} did not answer in time`,
    UND_ERR_CONNECT_TIMEOUT: (where) => `${where} did not answer in time`,
    ECONNRESET: (where) => `${where} cut the connection before it answered`,
    EPIPE: (where) => `${where} cut the connection before it answered`,
    UND_ERR_SOCKET: (where) => `${where} cut the connection before it answered`,
    UND_ERR_HEADERS_OVERFLOW: (where) => `${where} answered with more headers than are read`,
    UND_ERR_INVALID_ARG: () => 'the request cannot be made: check the headers of this channel',
    CERT_HAS_EXPIRED: (where) => `the certificate of ${where} has expired`,
    CERT_NOT_YET_VALID: (where) => `the certificate of ${where} is not valid yet`,
    ERR_TLS_CERT_ALTNAME_INVALID: (where) => `the certificate of ${where} is for another name`,
    DEPTH_ZERO_SELF_SIGNED_CERT: untrusted,
    SELF_SIGNED_CERT_IN_CHAIN: untrusted,
    UNABLE_TO_GET_ISSUER_CERT: untrusted,
    UNABLE_TO_GET_ISSUER_CERT_LOCALLY: untrusted,
    UNABLE_TO_VERIFY_LEAF_SIGNATURE: untrusted,
  } satisfies Record<string, (where: string) => string>),
);

function untrusted(where: string): string {
  return `the certificate of ${where} is not signed by an authority trusted here`;
}

/** Never the error's own message: it may quote the request. */
export function troubleText(thrown: unknown, where: string): string {
  const code = codeOf(thrown);
  const text = code === null ? undefined : texts.get(code);
  if (text) return text(where);
  // Faults in the form of an answer carry no code of their own in every version.
  if (thrown instanceof errors.HTTPParserError) return `${where} does not answer in HTTP`;
  return `the delivery to ${where} failed (${cleanText(code ?? 'no code', 60)})`;
}

/** Of a code alone; null where there is no sentence about it. */
export function networkText(code: string | null, where: string): string | null {
  return texts.get(code ?? '')?.(where) ?? null;
}

function codeOf(thrown: unknown): string | null {
  if (!(thrown instanceof Error)) return null;
  if ('code' in thrown && typeof thrown.code === 'string') return thrown.code;
  if (thrown instanceof AggregateError) return codeOf(thrown.errors[0]);
  return codeOf(thrown.cause);
}
