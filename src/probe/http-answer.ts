/** What an HTTP answer is worth: status, health report, text, value. Pure: the answer comes in as a value. */
import { STATUS_CODES } from 'node:http';
import { query } from 'jsonpath-rfc9535';
import { cleanText } from '../base/text.ts';
import type { Trouble } from '../base/values.ts';
import { runBounded } from './bounded-run.ts';
import { judgeHealth, saysHealth } from './http-health.ts';
import { type LooseFacts, trouble } from './observe.ts';
import { patternOf } from './settings/expected-text.ts';
import { type HttpSettings, showUrl } from './settings/http.ts';

/** Field names in lower case; what was sent in several lines is joined by `, ` (RFC 9110 §5.3). */
export interface HttpHeaders {
  readonly [name: string]: string | undefined;
  readonly age?: string;
  readonly date?: string;
  readonly location?: string;
  readonly server?: string;
}

const skewMsMax = 2_000;

export interface HttpAnswer {
  readonly status: number;
  readonly headers: HttpHeaders;
  /** As sent: what is compressed stays so. */
  readonly body: Buffer;
  /** There was more of the body than is read. */
  readonly cut: boolean;
  /** `HTTP/1.1`. */
  readonly version: string;
}

/** What was asked, in the end. */
export interface HttpAsked {
  readonly url: URL;
  readonly method: string;
  /** The request carried an account. */
  readonly withAccount: boolean;
  readonly expect: HttpSettings['expect'];
  /** A redirect that is not followed is an answer like any other. */
  readonly follow: boolean;
}

/** Null: an ordinary client would be served. */
export function judgeAnswer(answer: HttpAnswer, asked: HttpAsked): Trouble | null {
  const health = asked.method !== 'HEAD' && saysHealth(answer.headers) ? judgeHealth(answer) : null;
  // The report of a service that fails says more than its status, and a bad status more than a mild report.
  if (health?.reason === 'server-error') return health;
  return (
    judgeStatus(answer, asked) ??
    health ??
    judgeText(answer, asked.expect.text) ??
    judgeValue(answer, asked.expect.json)
  );
}

/**
 * `status`, `httpVersion`, `server`; `ageMs` where a cache answered (RFC 9111 §5.1); `clockAheadMs` where the server's
 * clock is more than two seconds off ours (negative: behind).
 */
export function factsOf({ status, headers, version }: HttpAnswer, nowMs: number): LooseFacts {
  const age = /^\d{1,9}$/.exec(headers.age ?? '')?.[0];
  const ageMs = age === undefined ? 0 : Number(age) * 1_000;
  return {
    status,
    httpVersion: version,
    server: headers.server,
    ...(ageMs > 0 ? { ageMs } : { clockAheadMs: clockAheadMs(headers, nowMs) }),
  };
}

/** `Date` (RFC 9110 §6.6.1) has whole seconds, cut off. Null: about the same, or it does not tell. */
function clockAheadMs({ date }: HttpHeaders, nowMs: number): number | null {
  if (date === undefined || !/^\w{3}, \d\d \w{3} \d{4} \d\d:\d\d:\d\d GMT$/.test(date)) return null;
  const aheadMs = Date.parse(date) + 500 - nowMs;
  return Math.abs(aheadMs) > skewMsMax ? Math.floor(aheadMs / 1_000) * 1_000 : null;
}

function judgeStatus(answer: HttpAnswer, asked: HttpAsked): Trouble | null {
  const { status } = answer;
  if (isExpected(status, asked)) return null;
  const said = sayStatus(status);
  if (asked.withAccount && [401, 403, 407].includes(status)) {
    return trouble('sign-in-refused', `it refuses the account of the probe with ${said}`);
  }
  if (status === 502 || status === 504) {
    return trouble(
      'server-error',
      `the front answers with ${said}, the service behind it does not`,
      'The proxy before it runs. Look at the service behind: is it started, is its address right?',
    );
  }
  const later = sayRetryAfter(answer.headers);
  if (status === 503) {
    return trouble(
      'server-error',
      `the front answers with ${said}${later}, the service does not serve`,
      'Is the service behind the front started? Or it is overloaded or under maintenance: look at its log.',
    );
  }
  if (status >= 500) return trouble('server-error', `it answers with ${said}`);
  if (status === 429) return trouble('under-load', `it answers with ${said}${later}`);
  return trouble('wrong-status', `${showUrl(asked.url)} answers with ${said}`, signInHint(status));
}

/** Whether a status, or its class, is in the list. */
export function isListed(status: number, listed: NonNullable<HttpSettings['expect']['status']>) {
  return listed.some((one) => one === status || one === `${Math.floor(status / 100)}xx`);
}

/**
 * Without an expectation: success; and a valid reply that asks to sign in, as the probe has no account to offer
 * (design §5), or one that points elsewhere, as it was told not to go there. Neither shows the content that was expected, if any.
 */
function isExpected(status: number, { expect, withAccount, follow }: HttpAsked): boolean {
  if (expect.status !== undefined) return isListed(status, expect.status);
  if (status >= 200 && status < 300) return true;
  if (expect.text !== undefined || expect.json !== undefined) return false;
  return ((status === 401 || status === 407) && !withAccount) || (status < 400 && !follow);
}

function signInHint(status: number): string | undefined {
  return status === 401 || status === 407
    ? 'What is expected stands behind a sign-in: give the probe an account, or an address that needs none.'
    : undefined;
}

/** `status 404 (Not Found)`. The words are the standard's, not the peer's. */
export function sayStatus(status: number): string {
  const words = STATUS_CODES[status];
  return words === undefined ? `status ${status}` : `status ${status} (${words})`;
}

/** RFC 9110 §10.2.3; the form with seconds only. */
function sayRetryAfter(headers: HttpHeaders): string {
  const seconds = /^\d{1,6}$/.exec(headers['retry-after'] ?? '')?.[0];
  return seconds === undefined ? '' : ` (ask again after ${Number(seconds)} s)`;
}

function judgeText(answer: HttpAnswer, expected: string | undefined): Trouble | null {
  if (expected === undefined) return null;
  const text = textOf(answer);
  const pattern = patternOf(expected);
  const found = runBounded(() => (pattern ? pattern.test(text) : text.includes(expected)));
  if (!found.ok) {
    return trouble(
      'text-missing',
      `the search for ${expected} took too long on its answer`,
      'Write the expression without repetitions inside repetitions.',
    );
  }
  if (found.value) return null;
  return trouble('text-missing', `its answer lacks ${sayExpected(expected)}${sayUnread(answer)}`);
}

function sayExpected(expected: string): string {
  return patternOf(expected) ? cleanText(expected, 80) : `"${cleanText(expected, 80)}"`;
}

/** Why the text may be there all the same. */
function sayUnread({ headers, cut, body }: HttpAnswer): string {
  const coding = headers['content-encoding'];
  if (coding !== undefined && coding !== 'identity') {
    return ` (it is sent as ${cleanText(coding, 20)}, though asked not to)`;
  }
  return cut ? ` in its first ${body.length} bytes` : '';
}

function judgeValue(answer: HttpAnswer, expected: HttpSettings['expect']['json']): Trouble | null {
  if (expected === undefined) return null;
  const { path, equals } = expected;
  const wanted = JSON.stringify(equals);
  const differs = (detail: string) => trouble('value-differs', detail);
  const document = parseJson(answer);
  if (document === undefined) return differs(`its answer is not JSON${sayUnread(answer)}`);
  const found = runBounded(() => query(document, path));
  if (!found.ok) return differs(`the search for ${path} took too long on its answer`);
  if (found.value.length === 0) {
    return differs(`its answer has nothing at ${path}, where ${wanted} is expected`);
  }
  const other = found.value.findIndex((value) => value !== equals);
  return other === -1 ? null : differs(`${path} is ${sayJson(found.value[other])}, not ${wanted}`);
}

/** A list or an object is not spelt out: it may be a megabyte, or nested without end. */
function sayJson(value: unknown): string {
  if (Array.isArray(value)) return 'a list';
  if (typeof value === 'object' && value !== null) return 'an object';
  return cleanText(JSON.stringify(value), 80);
}

type Json = Parameters<typeof query>[0];

function parseJson(answer: HttpAnswer): Json | undefined {
  try {
    return JSON.parse(textOf(answer)) as Json;
  } catch {
    return undefined;
  }
}

/** In the charset that it names, where the platform knows it (WHATWG Encoding); otherwise UTF-8. */
function textOf({ headers, body }: HttpAnswer): string {
  const charset = /;\s*charset="?([\w.:-]{1,40})/i.exec(headers['content-type'] ?? '')?.[1];
  try {
    return new TextDecoder(charset).decode(body);
  } catch {
    return new TextDecoder().decode(body);
  }
}
