/** How a probe declares its settings: the schema, its shorthand, and where it asks, for people. */
import type * as z from 'zod';
import type { Reason } from '../../base/reasons.ts';

export interface Declaration<Kind extends string = string, Schema extends z.ZodType = z.ZodType> {
  readonly kind: Kind;
  /** A strict object with `kind: z.literal(kind)`. */
  readonly schema: Schema;
  /** URL schemes that stand for this kind: `postgres://host:port`. None where an address cannot hold what it needs. */
  readonly schemes: readonly string[];
  /**
   * What the schema would read for this URL (input, not yet validated), of one of `schemes` or of the kind's own name.
   * Throws an Error that says what is wrong.
   */
  readonly fromUrl: (url: URL) => unknown;
  /** Never holds user info, a query or a secret. */
  readonly where: (settings: z.output<Schema>) => string;
  /** Default bounds on how it is asked. */
  readonly manners: Manners;
}

/** What politeness asks of the schedule (design §5). `recheck` and `every` never undercut it. */
export interface Manners {
  /** Least time between the starts of two exchanges. */
  readonly minGapMs: number;
  /** After an answer with this reason the interval is so many times as long: each further visit costs the owner. */
  readonly slower?: { readonly [reason in Reason]?: number };
}

/** Keeps the literal kind and the schema's own type. */
export function declare<Kind extends string, Schema extends z.ZodType>(
  declaration: Declaration<Kind, Schema>,
): Declaration<Kind, Schema> {
  return declaration;
}

/** Host and port of a shorthand that can hold nothing else, and whose scheme is its kind. */
export function onlyHostAndPort(url: URL, defaultPort: number | null) {
  const rest = [url.username, url.password, url.pathname.replace(/^\//, ''), url.search, url.hash];
  if (rest.some((part) => part !== '')) {
    const kind = url.protocol.replace(':', '');
    throw new Error(
      `expected ${kind}://host:port: write other settings out, with \`kind: ${kind}\``,
    );
  }
  return hostAndPort(url, defaultPort);
}

/** Host and port of a shorthand; the port may be left out where the protocol has one. */
export function hostAndPort(url: URL, defaultPort: number | null): { host: string; port: number } {
  if (url.hostname === '') throw new Error(`expected a host after ${url.protocol}//`);
  if (url.port === '' && defaultPort === null) throw new Error('expected a port after the host');
  return { host: url.hostname, port: url.port === '' ? (defaultPort ?? 0) : Number(url.port) };
}
