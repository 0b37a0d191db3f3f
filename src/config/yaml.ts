/** From the text of the file to located values: YAML 1.2, anchors and merge keys resolved within bounds. */
import {
  type Alias,
  type Document,
  isAlias,
  isMap,
  isScalar,
  LineCounter,
  type Node,
  type Pair,
  parseDocument,
  visit,
  type YAMLError,
  type YAMLMap,
  type YAMLSeq,
} from 'yaml';
import { aliasedValuesCountMax, configDepthMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Located, LocatedEntry, LocatedScalar } from './located.ts';
import type { Place } from './mistake.ts';
import { isOpenQuote, sayYamlError } from './yaml-words.ts';

interface YamlMistake {
  readonly at: Place;
  readonly message: string;
}

export interface YamlText {
  /** Null when the file holds nothing. */
  readonly root: Located | null;
  readonly mistakes: readonly YamlMistake[];
  /** So many lines were read before the parser lost the thread: they mean what they say, the rest may not. Null: all. */
  readonly trustedLines: number | null;
}

interface Reading {
  readonly placeOf: (node: { range?: readonly number[] | null | undefined }) => Place;
  readonly mistakes: YamlMistake[];
  readonly anchors: Map<string, Node>;
  /** Nodes that are being read, outermost first: an alias to one of them would never end. */
  readonly open: Set<Node>;
  aliasDepth: number;
  aliasedCount: number;
}

export function readYaml(text: string): YamlText {
  const lines = new LineCounter();
  const document = parseDocument(text, {
    lineCounter: lines,
    prettyErrors: false,
    logLevel: 'error',
    // Looked for below, where both places can be told.
    uniqueKeys: false,
  });
  const place = (offset: number): Place => {
    const { line, col } = lines.linePos(offset);
    return { line: Math.max(line, 1), column: Math.max(col, 1) };
  };
  const syntax = syntaxMistakes(document, text, place);
  const reading: Reading = {
    placeOf: (node) => place(node.range?.[0] ?? 0),
    mistakes: [],
    anchors: new Map(),
    open: new Set(),
    aliasDepth: 0,
    aliasedCount: 0,
  };
  const contents = document.contents as Node | null;
  const root = contents === null || isNothing(contents) ? null : readNode(reading, contents);
  const trustedLines = syntax[0] === undefined ? null : syntax[0].at.line - 1;
  return { root, mistakes: [...syntax, ...reading.mistakes], trustedLines };
}

/** In order of place, the first one of each line: those that follow are its echo. */
function syntaxMistakes(
  document: Document,
  text: string,
  place: (offset: number) => Place,
): YamlMistake[] {
  const found = [...document.errors, ...document.warnings]
    .map((error) => ({ offset: offsetOf(document, error), message: sayYamlError(error, text) }))
    .sort((a, b) => a.offset - b.offset)
    .map(({ offset, message }) => ({ at: place(offset), message }));
  return found.filter((mistake, index) => found[index - 1]?.at.line !== mistake.at.line);
}

function offsetOf(document: Document, error: YAMLError): number {
  let offset = error.pos[0];
  if (!isOpenQuote(error)) return offset;
  visit(document, {
    Scalar: (_, { range, type }) => {
      const quoted = type === 'QUOTE_DOUBLE' || type === 'QUOTE_SINGLE';
      if (!quoted || !range || range[1] < error.pos[0]) return undefined;
      offset = range[0];
      return visit.BREAK;
    },
  });
  return offset;
}

function isNothing(node: Node): boolean {
  return isScalar(node) && node.value === null;
}

function readNode(reading: Reading, node: Node): Located {
  const at = reading.placeOf(node);
  if (reading.aliasDepth > 0) reading.aliasedCount += 1;
  if (isAlias(node)) return readAlias(reading, node);
  // Within an alias every anchor is known already, and a later one of the same name may have replaced it.
  if (reading.aliasDepth === 0 && 'anchor' in node && node.anchor)
    reading.anchors.set(node.anchor, node);
  if (isScalar(node)) return scalar(at, node.value);
  if (reading.open.size >= configDepthMax) {
    return wrong(reading, at, `blocks within blocks, more than ${configDepthMax} deep`);
  }
  reading.open.add(node);
  const located = isMap(node) ? readMap(reading, node) : readList(reading, node as YAMLSeq);
  reading.open.delete(node);
  return located;
}

function readAlias(reading: Reading, alias: Alias): Located {
  const at = reading.placeOf(alias);
  const target = reading.anchors.get(alias.source);
  const name = cleanText(alias.source, 40);
  if (target === undefined) {
    return wrong(reading, at, `there is no anchor \`&${name}\` before this \`*${name}\``);
  }
  if (reading.open.has(target)) {
    return wrong(reading, at, `\`*${name}\` stands within the very block that it stands for`);
  }
  if (reading.aliasedCount > aliasedValuesCountMax) return tooMuch(reading, at);
  reading.aliasDepth += 1;
  const located = readNode(reading, target);
  reading.aliasDepth -= 1;
  return located;
}

/** Said once: thousands of aliases would say the same. */
function tooMuch(reading: Reading, at: Place): Located {
  const message = `anchors within anchors: written out they hold more than ${aliasedValuesCountMax} values`;
  if (!reading.mistakes.some((mistake) => mistake.message === message)) {
    reading.mistakes.push({ at, message });
  }
  return { type: 'scalar', at, value: null, source: null, broken: true };
}

function readList(reading: Reading, list: YAMLSeq): Located {
  const items = list.items.map((item) => readNode(reading, item as Node));
  return { type: 'list', at: reading.placeOf(list), items };
}

function readMap(reading: Reading, map: YAMLMap): Located {
  const own = new Map<string, LocatedEntry>();
  const merged: LocatedEntry[] = [];
  for (const pair of map.items as Pair<Node | null, Node | null>[]) {
    const keyAt = reading.placeOf(pair.key ?? pair.value ?? map);
    const value = pair.value === null ? scalar(keyAt, null) : readNode(reading, pair.value);
    const key = keyText(pair.key);
    if (key === '<<') merged.push({ keyAt, value });
    else if (key === null) wrong(reading, keyAt, 'expected a word before the colon');
    else if (key === '__proto__') wrong(reading, keyAt, '`__proto__`: unknown key');
    else addEntry(reading, own, key, { keyAt, value });
  }
  for (const entry of merged) mergeInto(reading, own, entry);
  return { type: 'map', at: reading.placeOf(map), entries: own };
}

function addEntry(
  reading: Reading,
  own: Map<string, LocatedEntry>,
  key: string,
  entry: LocatedEntry,
): void {
  const first = own.get(key);
  if (first === undefined) own.set(key, entry);
  else {
    const before = `line ${first.keyAt.line}, column ${first.keyAt.column}`;
    wrong(
      reading,
      entry.keyAt,
      `\`${cleanText(key, 60)}\` stands here a second time, first in ${before}: keep one of them`,
    );
  }
}

/** `<<: *base` and `<<: [*one, *two]`: what is written here wins, then the first named (YAML merge key, working draft 2005-01-18). */
function mergeInto(
  reading: Reading,
  own: Map<string, LocatedEntry>,
  { keyAt, value }: LocatedEntry,
): void {
  const bases = value.type === 'list' ? value.items : [value];
  for (const base of bases) {
    if (base.type === 'map') {
      for (const [key, entry] of base.entries) if (!own.has(key)) own.set(key, entry);
    } else if (!(base.type === 'scalar' && base.broken)) {
      wrong(reading, keyAt, '`<<` merges a block: expected an alias to one, such as `<<: *base`');
    }
  }
}

function keyText(key: Node | null): string | null {
  if (!isScalar(key) || key.value === null) return null;
  const text = String(key.value);
  return text === '' ? null : text;
}

function scalar(at: Place, value: unknown): LocatedScalar {
  const known =
    value === null ||
    typeof value === 'string' ||
    typeof value === 'number' ||
    typeof value === 'boolean';
  return { type: 'scalar', at, value: known ? value : String(value), source: null, broken: false };
}

/** Notes the mistake; the value in its place is one of which nothing more is said. */
function wrong(reading: Reading, at: Place, message: string): LocatedScalar {
  reading.mistakes.push({ at, message });
  return { type: 'scalar', at, value: null, source: null, broken: true };
}
