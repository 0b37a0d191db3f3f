/** Settings of the `http` probe: what is requested, and what the answer must be. */
import { query } from 'jsonpath-rfc9535';
import * as z from 'zod';
import { redirectsCountMax } from '../../base/limits.ts';
import { certificate } from './certificate.ts';
import { declare, hostAndPort } from './declaration.ts';
import { expectedText } from './expected-text.ts';
import { host, hostPort, port, secret } from './words.ts';

const url = z
  .string('expected a URL: http://… or https://…')
  .max(2_048, 'expected a URL of at most 2048 characters')
  .transform((text, context) => {
    const parsed = readUrl(text);
    if (parsed !== null) return parsed.href;
    // Without the text: it may hold a password.
    context.addIssue({ code: 'custom', message: 'expected a URL: http://… or https://…' });
    return z.NEVER;
  })
  .meta({
    secret: true,
    description: 'What is asked. `user:password@` becomes basic authentication and is never shown.',
  });

/** RFC 9110 §5.1: a token. */
const headerName = /^[!#$%&'*+.^_`|~0-9A-Za-z-]{1,100}$/;
/** What frames the message or encodes its body is not for the owner to say. */
const ownHeaderName =
  /^(host|connection|keep-alive|content-length|transfer-encoding|te|trailer|upgrade|expect|accept-encoding)$/i;
/** RFC 9110 §5.5. */
const headerValue = secret
  .max(8_192, 'expected at most 8192 characters')
  .regex(/^[\t\x20-\x7e\x80-\xff]*$/, 'expected a header value without line breaks');

/** Names are judged here, as a record's own check of its keys hides what it expected. */
const headers = z.record(z.string(), headerValue).superRefine((given, context) => {
  for (const name of Object.keys(given)) {
    const message = !headerName.test(name)
      ? 'expected the name of a header field'
      : 'this header field is set by the probe (for another host, see `connect`)';
    if (headerName.test(name) && !ownHeaderName.test(name)) continue;
    context.addIssue({ code: 'custom', path: [name], message, input: name });
  }
});

const statusExpected = 'expected a status such as 200, a class such as "2xx", or a list of them';
const status = z.union(
  [
    z.int(statusExpected).min(200, statusExpected).max(599, statusExpected),
    z.string(statusExpected).regex(/^[2-5]xx$/, statusExpected),
  ],
  statusExpected,
);

const json = z.strictObject({
  path: z
    .string('expected a JSON path such as $.state')
    .max(512)
    .refine(isJsonPath, 'expected a JSON path such as $.state (RFC 9535)'),
  equals: z.union(
    [z.string().max(1_024), z.number(), z.boolean(), z.null()],
    'expected a text, a number, true, false or null',
  ),
});

const expect = z.strictObject({
  status: z
    .union([status.transform((one) => [one]), z.array(status).min(1)], statusExpected)
    .optional()
    .describe('By default 2xx, and 401 or 407 where no account was sent.'),
  text: expectedText.optional(),
  json: json.optional().describe('Every value at this path (RFC 9535) must equal this one.'),
});

const redirects = z.strictObject({
  follow: z.boolean().default(true),
  max: z.int().min(1).max(redirectsCountMax).default(redirectsCountMax),
});

/** Out comes host and port. */
const connect = z
  .string('expected host:port')
  .transform((text, context) => {
    const parsed = readUrl(`http://${text}`);
    const bare = parsed !== null && parsed.username === '' && parsed.search === '';
    // `URL` drops the port 80 of http as the default one.
    if (bare && parsed.pathname === '/' && /:\d{1,5}$/.test(text)) {
      return { host: parsed.hostname, port: Number(text.replace(/^.*:/, '')) };
    }
    context.addIssue({ code: 'custom', message: 'expected host:port' });
    return z.NEVER;
  })
  .pipe(z.strictObject({ host, port }))
  .describe('host:port that is asked, under the name in the URL.');

const schema = z
  .strictObject({
    kind: z.literal('http'),
    url,
    method: z.enum(['GET', 'HEAD', 'POST', 'OPTIONS']).default('GET'),
    headers: headers.default({}),
    body: z.string().max(65_536).optional(),
    expect: expect.prefault({}),
    redirects: redirects.prefault({}),
    certificate: certificate.prefault({}),
    connect: connect.optional(),
  })
  .refine(({ body, method }) => body === undefined || method === 'POST', {
    path: ['body'],
    error: 'a body goes with `method: POST` only',
  })
  .refine((all) => all.method !== 'HEAD' || (all.expect.text ?? all.expect.json) === undefined, {
    path: ['expect'],
    error: 'an answer to HEAD has no body: expect a status only',
  })
  .refine(
    (all) =>
      new URL(all.url).username === '' ||
      !Object.keys(all.headers).some((name) => name.toLowerCase() === 'authorization'),
    { path: ['headers'], error: 'the URL holds an account already: give one of the two' },
  );

export const http = declare({
  kind: 'http',
  schema,
  schemes: ['http', 'https'],
  fromUrl: (given) => {
    hostAndPort(given, 0);
    return { kind: 'http', url: given.href };
  },
  where: (settings) => {
    const shown = showUrl(new URL(settings.url));
    if (settings.connect === undefined) return shown;
    return `${shown} at ${hostPort(settings.connect.host, settings.connect.port)}`;
  },
  manners: { minGapMs: 0 },
});

export type HttpSettings = z.output<typeof schema>;

/** Scheme, host, port where it is not the usual one, and path; without user info, query and fragment. */
export function showUrl(from: URL): string {
  return `${from.origin}${from.pathname}`;
}

function isJsonPath(text: string): boolean {
  try {
    query(null, text);
    return true;
  } catch {
    return false;
  }
}

function readUrl(text: string): URL | null {
  try {
    const parsed = new URL(text);
    // Both throw where a percent sign stands alone.
    decodeURIComponent(parsed.username);
    decodeURIComponent(parsed.password);
    return parsed.protocol === 'http:' || parsed.protocol === 'https:' ? parsed : null;
  } catch {
    return null;
  }
}
