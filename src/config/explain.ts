/** From what is wrong to a sentence: whose value it is, what was found, what was expected, what was probably meant. */
import type * as z from 'zod';
import { cleanText } from '../base/text.ts';
import type { Finding } from './issues.ts';
import {
  keyPlace,
  type Located,
  type LocatedEntry,
  textAt,
  valueAt,
  writtenPart,
} from './located.ts';
import { type Path, type Place, pathText } from './mistake.ts';
import { keysOf, schemaAt, schemaStep } from './schema-at.ts';
import { likelyKey } from './synonyms.ts';

/** A mistake before it knows its file. */
export interface Remark {
  readonly at: Place;
  readonly path: Path;
  readonly message: string;
  /** It speaks of a whole block, or of something that is not there: worth nothing where a part could not be read. */
  readonly ofWhole: boolean;
}

export interface Subject {
  readonly root: Located;
  /** `root` as plain values. */
  readonly value: unknown;
  readonly schema: z.core.$ZodType;
}

/** Null where a mistake was noted already that explains this one. */
export function explain(subject: Subject, finding: Finding): Remark | null {
  const { root } = subject;
  const { path, kind, message } = finding;
  // It speaks of the key, whose value may well be one that could not be put in.
  if (kind === 'unknown-key') return unknownKey(subject, path);
  if (touchesBroken(root, path)) return null;
  if (kind === 'key') {
    const at = keyPlace(root, path);
    return { at, path, message: `${labelOf(root, path)}: ${message}`, ofWhole: false };
  }
  const block = path.length === 0 ? null : valueAt(root, path.slice(0, -1));
  if (block?.type === 'map' && valueAt(root, path) === null) {
    const missing = `${labelOf(root, path)} is missing: ${message}`;
    return { at: block.at, path, message: missing, ofWhole: true };
  }
  return wrongValue(subject, writtenPart(root, path), message);
}

function wrongValue({ root, schema, value }: Subject, path: Path, message: string): Remark {
  const node = valueAt(root, path) ?? root;
  const { secret } = schemaAt(schema, path, value);
  const isHidden = secret || (node.type === 'scalar' && node.source !== null);
  // A guess at what was meant is made of what was written.
  const expected = isHidden ? message.replace(/ \(did you mean .*\)$/s, '') : message;
  const found = expected.startsWith('expected') ? `found ${sayFoundAt(path, node, secret)}, ` : '';
  const sentence = `${labelOf(root, path)}: ${found}${expected}`;
  const ofWhole = node.type !== 'scalar' || node.value === null;
  return { at: node.at, path, message: sentence, ofWhole };
}

/** `` `probe.port` of Order book ``: the key, and whose it is. */
export function labelOf(root: Located, path: Path): string {
  const [section, index] = path;
  if (path.length === 0) return 'the file';
  if (!isSection(section) || typeof index !== 'number') {
    return code(path);
  }
  const owner = ownerName(root, section, index);
  return path.length === 2 ? owner : `${code(path.slice(2))} of ${owner}`;
}

/** Lists of things with names, and what one of each is. */
const sections = {
  services: 'service',
  jobs: 'job',
  tell: 'channel',
  planned: 'planned window',
} as const;
type Section = keyof typeof sections;

function isSection(step: Path[number] | undefined): step is Section {
  return typeof step === 'string' && Object.hasOwn(sections, step);
}

/** The thing's name as written; its number where it has none, or one from outside of the file. */
export function ownerName(root: Located, section: Section, index: number): string {
  const name = valueAt(root, [section, index, 'name']);
  const text = textAt(root, [section, index, 'name']);
  if (text !== null && text.trim() !== '' && name?.type === 'scalar' && name.source === null) {
    return cleanText(text, 60);
  }
  return `${sections[section]} ${index + 1}`;
}

/** The value, shortened; of a secret, and of what came from outside of the file, only that it is one. */
export function sayFound(node: Located, isSecret: boolean): string {
  if (node.type === 'list') return node.items.length === 0 ? 'an empty list' : 'a list';
  if (node.type === 'map') return 'a block of keys';
  if (node.source !== null)
    return `${node.value === '' ? 'an empty' : 'a'} secret from ${node.source}`;
  if (node.value === null) return 'nothing';
  if (isSecret) return 'a secret';
  return typeof node.value === 'string' ? `"${showText(node.value)}"` : String(node.value);
}

/** An address that may hold a password is no secret to its owner, who wonders what is wrong with it. */
function sayFoundAt(path: Path, node: Located, isSecret: boolean): string {
  const isAddress = path.at(-1) === 'url' || path.at(-1) === 'webhook';
  const found = sayFound(node, isSecret);
  return isAddress && found === 'a secret'
    ? 'something else (not shown: it may hold a password)'
    : found;
}

/** Without what may be an account in an address, however misspelt (RFC 3986 §3.2.1), and without its query. */
function showText(text: string): string {
  const bare = text.replace(/^([a-z][a-z0-9+.-]{0,20}:\/+)?.*@/is, '$1••••@').slice(0, 200);
  return cleanText(bare.replace(/^(\S*[:/][^\s?]*)\?.*$/s, '$1?…'), 60);
}

function unknownKey(subject: Subject, path: Path): Remark {
  const { root, schema, value } = subject;
  const block = path.slice(0, -1);
  const key = String(path.at(-1));
  const here = schemaAt(schema, block, value);
  const known = keysOf(here);
  const node = valueAt(root, block);
  const present = node?.type === 'map' ? node.entries : new Map<string, LocatedEntry>();
  const inner = known
    .filter((name) => present.get(name)?.value.type !== 'scalar')
    .map((name) => ({ name, keys: keysOf(schemaStep(here, name)) }));
  const advice =
    oneLevelOut(subject, block, key) ??
    oneLevelIn(inner, key) ??
    meantKey(present, key, known) ??
    meantWithin(inner, key) ??
    `known here: ${known.join(', ')}`;
  const message = `${labelOf(root, path)}: unknown key; ${advice}`;
  return { at: keyPlace(root, path), path, message, ofWhole: false };
}

/** A block that stands in this one, or may stand there. */
interface InnerBlock {
  readonly name: string;
  readonly keys: readonly string[];
}

function oneLevelOut({ schema, value }: Subject, block: Path, key: string): string | null {
  const name = block.at(-1);
  if (typeof name !== 'string') return null;
  const outer = keysOf(schemaAt(schema, block.slice(0, -1), value));
  return outer.includes(key) ? `it belongs beside \`${name}\`, not under it` : null;
}

function oneLevelIn(inner: readonly InnerBlock[], key: string): string | null {
  const block = inner.find(({ keys }) => keys.includes(key));
  return block === undefined ? null : `it belongs under \`${block.name}\``;
}

/** Rather a key that does not stand here yet. */
function meantKey(
  present: ReadonlyMap<string, unknown>,
  key: string,
  known: readonly string[],
): string | null {
  const isFree = (name: string) => !present.has(name);
  const free = likelyKey(key, known.filter(isFree));
  if (free !== null) return `did you mean \`${free}\`?`;
  const taken = likelyKey(key, known);
  return taken === null ? null : `did you mean \`${taken}\`, which stands here already?`;
}

function meantWithin(inner: readonly InnerBlock[], key: string): string | null {
  for (const { name, keys } of inner) {
    const meant = likelyKey(key, keys);
    if (meant !== null) return `did you mean \`${meant}\`, under \`${name}\`?`;
  }
  return null;
}

function touchesBroken(root: Located, path: Path): boolean {
  const node = valueAt(root, writtenPart(root, path));
  return node?.type === 'scalar' && node.broken;
}

/** List indices are left out: the line says which. */
function code(path: Path): string {
  const words = path.filter((step) => typeof step === 'string').map((step) => cleanText(step, 60));
  return `\`${pathText(words)}\``;
}
