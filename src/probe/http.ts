/**
 * The `http` probe: one request, or a short chain of redirects, each over a connection of its own, so that every phase
 * is timed cold. Sources: RFC 9110 (semantics), RFC 9112 (framing), RFC 7617 (basic authentication).
 */
import { onceEach } from '../base/once-each.ts';
import type { Observation, Trouble } from '../base/values.ts';
import type { CertificateFacts } from './certificate.ts';
import { startDeadline } from './deadline.ts';
import { factsOf, type HttpAnswer, isListed, judgeAnswer } from './http-answer.ts';
import { type HttpScope, reach, type Way, whereOf } from './http-connect.ts';
import { exchange } from './http-exchange.ts';
import { type Hop, isRedirect, nextHop, type Trail } from './http-redirects.ts';
import { beginCourse, type LooseFacts } from './observe.ts';
import type { Ask } from './probe.ts';
import { type HttpSettings, showUrl } from './settings/http.ts';

export const askHttp: Ask<HttpSettings> = async (settings, context) => {
  const course = beginCourse(context.clock);
  const deadline = startDeadline(context);
  try {
    const { hop } = firstOf(settings);
    return await follow({ hop, earlier: [] }, settings, { context, deadline, course });
  } finally {
    deadline.release();
  }
};

/** Asks, and goes on where the answer leads. `nextHop` bounds the depth. */
async function follow(
  trail: Trail,
  settings: HttpSettings,
  scope: HttpScope,
  before: CertificateFacts = {},
): Promise<Observation> {
  const { hop, earlier } = trail;
  const asked = await askOnce(hop, settings, scope);
  const certificate = soonest(before, asked.certificate);
  const finalUrl = earlier.length > 0 ? showUrl(hop.url) : null;
  const facts = { ...asked.facts, finalUrl, ...certificate };
  if (!asked.ok) return scope.course.troubled(asked.trouble, facts);
  const { status, headers } = asked.answer;
  if (settings.redirects.follow && isRedirect(status) && !isAwaited(status, settings)) {
    const redirect = { status, location: headers.location };
    const next = nextHop(redirect, trail, settings.redirects.max);
    if (!next.ok) return scope.course.troubled(next.trouble, facts);
    return await follow(
      { hop: next.value, earlier: [...earlier, hop] },
      settings,
      scope,
      certificate,
    );
  }
  const found = judgeAnswer(asked.answer, {
    url: hop.url,
    method: hop.method,
    withAccount: carriesAccount(hop),
    expect: settings.expect,
    follow: settings.redirects.follow,
  });
  return found === null ? scope.course.answered(facts) : scope.course.troubled(found, facts);
}

type Asked = { readonly certificate: CertificateFacts; readonly facts: LooseFacts } & (
  | { readonly ok: true; readonly answer: HttpAnswer }
  | { readonly ok: false; readonly trouble: Trouble }
);

async function askOnce(hop: Hop, settings: HttpSettings, scope: HttpScope): Promise<Asked> {
  const { course, deadline, context } = scope;
  const way = wayOf(hop, settings);
  const reached = await reach(way, scope);
  if (!reached.ok) return { ...reached, facts: {} };
  const { certificate } = reached;
  course.phase('answer');
  const { timeoutMs } = context;
  const answer = await exchange(reached.socket, hop, { where: whereOf(way), deadline, timeoutMs });
  if (!answer.ok) return { ...answer, certificate, facts: {} };
  const facts = factsOf(answer.value, context.clock.wallMs());
  return { ok: true, answer: answer.value, certificate, facts };
}

/** Where the way begins; the same each time. */
const firstOf = onceEach((settings: HttpSettings) => {
  const { connect, certificate } = settings;
  const hop = firstHop(settings);
  const way: Way = { url: hop.url, connect: connect ?? null, certificate };
  return { hop, way };
});

/** The account in the URL becomes a header field (RFC 7617 §2), and leaves the URL. */
function firstHop({ url: text, method, headers, body }: HttpSettings): Hop {
  const url = new URL(text);
  const account = `${decodeURIComponent(url.username)}:${decodeURIComponent(url.password)}`;
  url.username = '';
  url.password = '';
  url.hash = '';
  const basic = `Basic ${Buffer.from(account).toString('base64')}`;
  return {
    url,
    method,
    headers: account === ':' ? headers : { ...headers, authorization: basic },
    body: body ?? null,
  };
}

/** Address and pinned key belong to the origin that was configured; other origins prove themselves in the usual way. */
function wayOf(hop: Hop, settings: HttpSettings): Way {
  const first = firstOf(settings);
  if (hop === first.hop) return first.way;
  const { url } = hop;
  if (url.origin === first.hop.url.origin) return { ...first.way, url };
  const { pin: _, ...unpinned } = settings.certificate;
  return { url, connect: null, certificate: unpinned };
}

/** A redirect that the owner expects is an answer, not a way. */
function isAwaited(status: number, { expect }: HttpSettings): boolean {
  return expect.status !== undefined && isListed(status, expect.status);
}

/** Common practice, no source: names of fields that carry an account or a key to one. */
function carriesAccount({ headers }: Hop): boolean {
  return Object.keys(headers).some((name) => /auth|cookie|token|key|secret/i.test(name));
}

/** Of the certificates on the way, the one that ends first is told of: with it the service ends. */
function soonest(one: CertificateFacts, other: CertificateFacts): CertificateFacts {
  const never = '9';
  return (other.certificateEndsAt ?? never) < (one.certificateEndsAt ?? never) ? other : one;
}
