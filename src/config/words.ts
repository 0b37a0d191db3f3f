/** The words that the configuration is made of, beside those that it shares with the probes. */
import { isIP } from 'node:net';
import * as z from 'zod';
import { slug } from '../base/ids.ts';
import { tokenCharsMin } from '../base/limits.ts';
import { nearest } from './nearest.ts';

/** A text that must fit; else "expected …", with what was probably meant. */
export function text(
  expected: string,
  fits: (given: string) => boolean,
  meantBy: (given: string | number) => string | null = () => null,
) {
  const say = (input: unknown) => {
    const isText = typeof input === 'string' || typeof input === 'number';
    return `expected ${expected}${didYouMean(isText ? meantBy(input) : null)}`;
  };
  return z.string({ error: ({ input }) => say(input) }).superRefine((given, context) => {
    if (!fits(given)) context.addIssue({ code: 'custom', message: say(given), continue: false });
  });
}

/** ` (did you mean nas?)`, or nothing. */
export function didYouMean(word: string | null): string {
  return word === null ? '' : ` (did you mean ${word}?)`;
}

/** `a`, `a or b`, `a, b or c`. */
export function orList(words: readonly string[]): string {
  const last = words.at(-1) ?? '';
  return words.length < 2 ? last : `${words.slice(0, -1).join(', ')} or ${last}`;
}

/** One line for people. */
export function line(what: string, charsMax: number) {
  return text(
    `${what} in one line of at most ${charsMax} characters`,
    (given) =>
      given.length <= charsMax && given.trim() !== '' && !/[\p{Cc}\u2028\u2029]/u.test(given),
    (given) => (typeof given === 'number' ? `"${given}"` : null),
  )
    .transform((given) => given.trim())
    .meta({ minLength: 1, maxLength: charsMax });
}

/** A list of texts, for which people like to write a single one. */
export function list<Item extends z.ZodType>(item: Item, what: string) {
  return z.array(item, {
    error: ({ input }) =>
      `expected a list of ${what}${didYouMean(typeof input === 'string' && /^[\w-]{1,64}$/.test(input) ? `[${input}]` : null)}`,
  });
}

/** A slug, as it stands in addresses of the board: `order-book`. */
export const id = text(
  'an id of small letters, digits and single hyphens, such as order-book',
  (given) => given !== '' && slug(given) === given,
  (given) => slug(String(given)) || null,
);

/** Whether there is a service of this id is looked up later (`references.ts`). */
export const idOfAnother = z.string('expected the id of a service').max(200);

const shareForm = /^(100(\.0{1,6})?|\d{1,2}(\.\d{1,6})?)%$/;

/** `99.5%` in, 0.995 out. */
export const share = text(
  'a percentage, such as 99.5%',
  (given) => shareForm.test(given),
  (given) => (shareForm.test(`${given}%`) ? `${given}%` : null),
)
  // Through the decimals, because 99.9 / 100 is not 0.999 to the last bit.
  .transform((given) => Number(`${given.slice(0, -1)}e-2`))
  .meta({ pattern: shareForm.source });

/** How often in a row. */
export const times = z
  .int('expected a whole number from 1 to 20')
  .min(1, 'expected a whole number from 1 to 20')
  .max(20, 'expected a whole number from 1 to 20');

const listenForm = /^(?:\[([\da-fA-F:.]+(?:%[\w.-]+)?)\]|([\w.-]+)):(\d{1,5})$/;

/** `host:port` in, both out; an IPv6 address comes in brackets. Port 0: the system chooses. */
export const listen = text(
  'host:port, such as 127.0.0.1:7655 or [::1]:7655',
  (given) => Number(listenForm.exec(given)?.[3] ?? Number.NaN) <= 65_535,
  (given) => {
    const port = /^:?(\d{1,5})$/.exec(String(given))?.[1];
    return port === undefined ? null : `127.0.0.1:${port}`;
  },
).transform((given) => {
  const [, address, name, port] = listenForm.exec(given) ?? [];
  return { host: address ?? name ?? '', port: Number(port) };
});

const hostNameForm =
  /^(?=.{1,253}$)(?:[a-z\d](?:[\w-]{0,61}[a-z\d])?\.)*(?!\d+$)[a-z\d](?:[\w-]{0,61}[a-z\d])?$/i;

/** A name, no address (RFC 1123 §2.1: the last label is never a number); in lower case. */
export const hostName = text(
  'a host name without port, such as board.fernhill.home.arpa',
  (given) => hostNameForm.test(given),
  (given) => {
    const name = /^(?:https?:\/\/)?([\w.-]+?)\.?(?::\d{1,5})?\/?$/i.exec(String(given))?.[1] ?? '';
    return hostNameForm.test(name) ? name.toLowerCase() : null;
  },
).transform((given) => given.toLowerCase());

/** `/` or `/rollcall/`: segments of unreserved characters (RFC 3986 §2.3), a slash at either end. */
const baseForm = /^\/(?:[\w~-][\w.~-]{0,62}\/){0,8}$/;

export const basePath = text(
  'a path with a slash at either end, such as /rollcall/',
  (given) => baseForm.test(given),
  (given) => {
    const inner = String(given).replace(/^\/+|\/+$/g, '');
    return inner !== '' && baseForm.test(`/${inner}/`) ? `/${inner}/` : null;
  },
);

/** An address, or a block of them (RFC 4632 §3.1, RFC 4291 §2.3). */
export const proxyAddress = text('an address, such as 192.0.2.7 or 192.0.2.0/28', (given) => {
  const [address = '', prefix, ...rest] = given.split('/');
  const bits = { 4: 32, 6: 128 }[isIP(address)] ?? 0;
  const inRange = prefix === undefined || (/^\d{1,3}$/.test(prefix) && Number(prefix) <= bits);
  // Everybody at once is no proxy.
  return bits > 0 && rest.length === 0 && inRange && Number(prefix ?? bits) > 0;
});

/** Of the IANA time zone database, as far as this machine has it. */
export const timezone = text(
  'the name of a time zone, such as Europe/Dublin',
  isTimezone,
  (given) => nearest(String(given), Intl.supportedValuesOf('timeZone')),
);

/** Where this machine is; UTC where it does not say. */
export function machineTimezone(): string {
  const name = new Intl.DateTimeFormat().resolvedOptions().timeZone;
  return name !== undefined && isTimezone(name) ? name : 'UTC';
}

function isTimezone(name: string): boolean {
  // Offsets such as +01:00 pass for a zone, but know nothing of summer.
  if (!/^[A-Za-z]/.test(name)) return false;
  try {
    return new Intl.DateTimeFormat('en', { timeZone: name }).resolvedOptions().timeZone !== '';
  } catch {
    return false;
  }
}

/** An address for a browser. */
export const link = text(
  'an address that begins with http:// or https://',
  (given) => given.length <= 2_000 && isWeb(urlOf(given)),
  (given) =>
    /^[\w-]+(\.[\w-]+)+(\/[^\s?@]{0,60})?$/.test(String(given)) ? `https://${given}` : null,
);

export function isWeb(url: URL | null): boolean {
  return url?.protocol === 'http:' || url?.protocol === 'https:';
}

/** The parsed address; null when it is none. */
export function urlOf(given: string): URL | null {
  return URL.canParse(given) ? new URL(given) : null;
}

/** RFC 6750 §2.1: what may stand after `Bearer`. */
export const token = z
  .string('expected a token')
  .regex(
    /^[A-Za-z0-9._~+/-]+=*$/,
    'expected letters, digits and - . _ ~ + / only (`openssl rand -hex 32` makes such a token)',
  )
  .min(
    tokenCharsMin,
    `expected at least ${tokenCharsMin} characters (\`openssl rand -hex 32\` makes a token)`,
  )
  .max(500, 'expected at most 500 characters')
  .meta({ secret: true });
