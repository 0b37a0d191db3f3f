/** The `probe` of a service: the declarations of all kinds, each as a block with `kind` or as a shorthand address. */
import { z } from 'zod';
import { messageOf } from '../base/errors.ts';
import { declarations, type ProbeSettings } from '../probe/settings/all.ts';
import type { Declaration } from '../probe/settings/declaration.ts';
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

/** The declaration of the probe's own kind. */
export function declarationOf(settings: ProbeSettings): Declaration {
  const found = declarations.find(({ kind }) => kind === settings.kind);
  if (found === undefined) throw new Error(`no declaration for the kind ${settings.kind}`);
  // Its own `kind` chose it: it takes exactly these settings, which the union of all of them cannot say.
  return found as unknown as Declaration;
}

function fromShorthand(text: string): unknown {
  const scheme = schemeOf(text);
  if (scheme === null) throw new Error(addressExpected);
  const found = declarations.find((declaration) => includes(declaration.schemes, scheme));
  if (found === undefined) {
    const near = nearest(scheme, schemes);
    throw new Error(`${addressExpected}${didYouMean(near && `${near}://`)}`);
  }
  const url = urlOf(text);
  if (url === null) throw new Error(`expected an address such as ${scheme}://nas.home.arpa:1234`);
  return found.fromUrl(url);
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

function includes(words: readonly string[], word: string): boolean {
  return words.includes(word);
}
