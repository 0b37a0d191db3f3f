/** Which texts of a configuration must never be printed: the list for the log, the errors and the pages. */
import type { Filling } from './fill.ts';
import { type Located, plain, textAt } from './located.ts';
import type { Path } from './mistake.ts';
import { configSchema } from './schema.ts';
import { type SchemaAt, schemaRoot, schemaStep } from './schema-at.ts';
import { urlOf } from './words.ts';

/**
 * What stands on the board anyway, or is no text: put in from outside or not, it is no secret. Everything else that
 * came from outside is one, because that is what people put outside for.
 */
const publicKeys: ReadonlySet<string> = new Set(
  'title listen timezone names base proxies name id group open note needs through groups services changes'
    .split(' ')
    .concat(
      'objective slow every timeout confirm restore recheck unanswered unsteady settle'.split(' '),
      'kind host port method status warn to from urgent quiet remind fallback digest'.split(' '),
      'planned why schedule lasts'.split(' '),
      'jobs allow limit'.split(' '),
    ),
);

/** Header fields that carry no credentials (RFC 9110): masking `application/json` everywhere would help nobody. */
const harmlessHeaders = /^(accept.*|cache-control|content-.*|from|host|origin|user-agent)$/i;

export function secretsOf(root: Located, fillings: readonly Filling[]): readonly string[] {
  const secrets = new Set<string>();
  for (const filling of fillings) if (!isPublic(root, filling)) secrets.add(filling.text);
  const start: Visit = { node: root, path: [], schema: schemaRoot(configSchema, plain(root)) };
  for (const { path, text, secret } of textsIn(start)) {
    for (const part of partsIn(text)) secrets.add(part);
    // The rest of an address that is asked stands on the board.
    if (!secret || path.at(-1) === 'url' || isHarmlessHeader(path)) continue;
    for (const part of [text, ...credentialsIn(text)]) secrets.add(part);
  }
  secrets.delete('');
  return [...secrets];
}

function isPublic(root: Located, { path, text }: Filling): boolean {
  if (path.includes('headers')) return isHarmlessHeader(path);
  const key = path.findLast((step) => typeof step === 'string') ?? '';
  // The address of the pulse is a secret, as that of a webhook; `to` elsewhere is none.
  if (publicKeys.has(key)) return path[0] !== 'pulse' || key !== 'to';
  // The host of an address that is asked stands on the board too; user, path and query do not.
  const url = key === 'url' || key === 'probe' ? urlOf(textAt(root, path) ?? '') : null;
  return url?.host.includes(text.toLowerCase()) ?? false;
}

function isHarmlessHeader(path: Path): boolean {
  const name = path.at(-1);
  return path.at(-2) === 'headers' && typeof name === 'string' && harmlessHeaders.test(name);
}

/** The part after the scheme in `Bearer …` (RFC 9110 §11.4): a peer may repeat it alone. */
function credentialsIn(text: string): string[] {
  const token = /^[A-Za-z][\w-]* +(\S+)$/.exec(text)?.[1];
  return token === undefined ? [] : [token];
}

/** Of an address: its password, as written and decoded, and the values of its query. */
function partsIn(text: string): string[] {
  const url = /^[a-z][a-z0-9+.-]*:\/\//i.test(text) ? urlOf(text) : null;
  if (url === null) return [];
  return [url.password, decoded(url.password), ...url.searchParams.values()];
}

function decoded(text: string): string {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}

interface Visit {
  readonly node: Located;
  readonly path: Path;
  readonly schema: SchemaAt;
}

interface FoundText {
  readonly path: Path;
  readonly text: string;
  /** Marked as one by its schema. */
  readonly secret: boolean;
}

function* textsIn({ node, path, schema }: Visit): Generator<FoundText> {
  if (node.type === 'scalar') {
    if (typeof node.value === 'string') yield { path, text: node.value, secret: schema.secret };
    return;
  }
  const members: Iterable<[string | number, Located]> =
    node.type === 'list'
      ? node.items.entries()
      : Array.from(node.entries, ([key, entry]) => [key, entry.value]);
  for (const [step, member] of members) {
    yield* textsIn({ node: member, path: [...path, step], schema: schemaStep(schema, step) });
  }
}
