/** The `probe` of a service: the declarations of all kinds, each as a block with `kind` or as a shorthand address. */
import * as z from 'zod';
import { messageOf } from '../base/errors.ts';
import { declarations, type ProbeSettings } from '../probe/settings/all.ts';
import type { Declaration } from '../probe/settings/declaration.ts';
import { portExpected } from '../probe/settings/words.ts';
import { memberOf } from './located.ts';
import { nearest } from './nearest.ts';
import { didYouMean, orList, urlOf } from './words.ts';

type SchemasOf<Declarations extends readonly Declaration[]> = {
  [Index in keyof Declarations]: Declarations[Index]['schema'];
};

const kinds: readonly string[] = declarations.map(({ kind }) => kind);
const schemes: readonly string[] = declarations.flatMap((declaration) => declaration.schemes);
const addressExpected = `expected an address that begins with ${orList(schemes.map((scheme) => `${scheme}://`))}, or a block with \`kind\``;

/** `map` forgets that it keeps the order and the length of the tuple. */
const schemas = declarations.map(({ schema }) => schema) as unknown as SchemasOf<
  typeof declarations
>;

const block = z.discriminatedUnion('kind', schemas, {
  error: ({ input }) => sayKind(input),
});

const shorthand = z
  .string(addressExpected)
  .meta({ pattern: `^(${schemes.join('|')}):` })
  .describe(`A shorthand: ${schemes.map((scheme) => `${scheme}://`).join(', ')}`)
  .transform((text, context) => {
    try {
      return fromShorthand(text) as z.input<typeof block>;
    } catch (error) {
      context.addIssue({ code: 'custom', message: messageOf(error) });
      return z.NEVER;
    }
  })
  .pipe(block);

export const probe = z.union([shorthand, block]);

/** Whose settings each one takes, the union of all of them cannot say: `kind` must choose. */
const ofAllKinds = declarations as unknown as readonly Declaration[];

/** The declaration of the probe's own kind. */
export function declarationOf(settings: ProbeSettings): Declaration {
  const found = ofAllKinds.find(({ kind }) => kind === settings.kind);
  if (found === undefined) throw new Error(`no declaration for the kind ${settings.kind}`);
  return found;
}

/** The declaration of the kind that is meant, be its settings right or wrong; undefined where none can be told. */
export function declarationMeant(written: unknown): Declaration | undefined {
  if (typeof written === 'string') return declarationOfScheme(schemeOf(written));
  const named = memberOf(written, 'kind');
  return ofAllKinds.find(({ kind }) => kind === named);
}

/** By its own name too: a kind without schemes says itself why it has none. */
function declarationOfScheme(scheme: string | null): Declaration | undefined {
  return ofAllKinds.find(
    ({ kind, schemes: own }) => scheme !== null && (kind === scheme || own.includes(scheme)),
  );
}

function fromShorthand(text: string): unknown {
  const scheme = schemeOf(text);
  if (scheme === null) throw new Error(addressExpected);
  const found = declarationOfScheme(scheme);
  if (found === undefined) {
    const near = nearest(scheme, schemes);
    throw new Error(`${addressExpected}${didYouMean(near && `${near}://`)}`);
  }
  const url = urlOf(text);
  if (url !== null) return found.fromUrl(url);
  throw new Error(
    hasPortBeyondLast(text)
      ? portExpected
      : `expected an address such as ${scheme}://nas.home.arpa:1234`,
  );
}

function hasPortBeyondLast(text: string): boolean {
  return Number(/^[^/?#]*\/\/[^/?#]*:(\d+)(?:[/?#]|$)/.exec(text)?.[1] ?? 0) > 65_535;
}

function schemeOf(text: string): string | null {
  return /^([a-z][a-z0-9+.-]*):/i.exec(text)?.[1]?.toLowerCase() ?? null;
}

function sayKind(input: unknown): string {
  const expected = `expected ${orList(kinds)}`;
  if (typeof input !== 'object' || input === null || Array.isArray(input)) return addressExpected;
  const kind = 'kind' in input ? input.kind : undefined;
  const near = typeof kind === 'string' ? nearest(kind, kinds) : null;
  return `${expected}${didYouMean(near)}`;
}
