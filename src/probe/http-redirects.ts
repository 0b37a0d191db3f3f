/** Where an HTTP redirect leads, and what may be carried there. Source: RFC 9110 §15.4. Pure. */
import { cleanText } from '../base/text.ts';
import { done, type Step, stuck } from './decoding.ts';
import { sayStatus } from './http-answer.ts';
import { trouble } from './observe.ts';
import { type HttpSettings, showUrl } from './settings/http.ts';

/** One request of the chain. `url` has neither user info nor fragment. */
export interface Hop {
  readonly url: URL;
  readonly method: HttpSettings['method'];
  /** Configured ones, the account included; the probe's own come on top. */
  readonly headers: HttpSettings['headers'];
  readonly body: string | null;
}

/** A request with those that led to it. */
export interface Trail {
  readonly hop: Hop;
  readonly earlier: readonly Hop[];
}

export function isRedirect(status: number): boolean {
  return [301, 302, 303, 307, 308].includes(status);
}

/**
 * The next request, or why the redirect is not followed. Nothing of the owner's goes to another origin, and what has
 * been dropped once stays away, even when the way leads back.
 */
export function nextHop(
  { status, location }: { readonly status: number; readonly location: string | undefined },
  { hop, earlier }: Trail,
  countMax: number,
): Step<Hop> {
  const refuse = (why: string) =>
    stuck(trouble('wrong-status', `${showUrl(hop.url)} answers with ${sayStatus(status)}: ${why}`));
  const url = locate(location, hop.url);
  if (url === null) return refuse('the redirect leads nowhere');
  if (hop.url.protocol === 'https:' && url.protocol === 'http:') {
    return refuse(`the redirect leaves TLS for ${shown(url)}, and is not followed`);
  }
  const next = carry(url, status, hop);
  if (next === null) return refuse(`the redirect would take the request's body to ${shown(url)}`);
  if ([...earlier, hop].some((one) => one.url.href === url.href && one.method === next.method)) {
    return refuse(`the redirects go in a circle, back to ${shown(url)}`);
  }
  if (earlier.length >= countMax) return refuse(`it is redirect number ${countMax + 1}, too many`);
  return done(next);
}

/** Relative ones are resolved; user info in them is the peer's and is dropped; a fragment is never sent. */
function locate(location: string | undefined, base: URL): URL | null {
  if (location === undefined || !URL.canParse(location, base.href)) return null;
  const url = new URL(location, base.href);
  if (url.protocol !== 'http:' && url.protocol !== 'https:') return null;
  url.username = '';
  url.password = '';
  url.hash = '';
  return url;
}

/** Null: it would carry the body to another origin. 307 and 308 keep method and body; the others turn POST into GET (RFC 9110 §15.4.2 to 15.4.4). */
function carry(url: URL, status: number, from: Hop): Hop | null {
  const keepsMethod = status === 307 || status === 308;
  const body = keepsMethod ? from.body : null;
  const sameOrigin = url.origin === from.url.origin;
  if (body !== null && !sameOrigin) return null;
  const becomesGet =
    !keepsMethod && (from.method === 'POST' || (status === 303 && from.method !== 'HEAD'));
  return {
    url,
    method: becomesGet ? 'GET' : from.method,
    headers: sameOrigin ? from.headers : {},
    body,
  };
}

function shown(url: URL): string {
  return cleanText(showUrl(url), 120);
}
