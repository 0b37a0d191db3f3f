/** What the configuration file says, with the place of every value and key. Plain values; YAML is behind us here. */
import type { Path, Place } from './mistake.ts';

export interface LocatedScalar {
  readonly type: 'scalar';
  readonly at: Place;
  readonly value: string | number | boolean | null;
  /** Where the value really comes from, where not from the file itself: `${NAME}`, `file:PATH`. Then it is never shown. */
  readonly source: string | null;
  /** Its source could not be read, and a mistake says so already: nothing else is said of the value. */
  readonly broken: boolean;
}

interface LocatedList {
  readonly type: 'list';
  readonly at: Place;
  readonly items: readonly Located[];
}

interface LocatedMap {
  readonly type: 'map';
  readonly at: Place;
  readonly entries: ReadonlyMap<string, LocatedEntry>;
}

export interface LocatedEntry {
  readonly keyAt: Place;
  readonly value: Located;
}

export type Located = LocatedScalar | LocatedList | LocatedMap;

/** The value at the path, or null where the file has nothing there. */
export function valueAt(root: Located, path: Path): Located | null {
  let node: Located | null = root;
  for (const step of path) {
    if (node === null) return null;
    node = child(node, step);
  }
  return node;
}

/** The longest beginning of the path that the file has something at: a shorthand stands for a whole block. */
export function writtenPart(root: Located, path: Path): Path {
  let length = 0;
  let node = child(root, path[0]);
  while (node !== null && length < path.length) {
    length += 1;
    node = child(node, path[length]);
  }
  return path.slice(0, length);
}

/** Where the key at the end of the path stands; the value's place for items of lists. */
export function keyPlace(root: Located, path: Path): Place {
  const parent = valueAt(root, path.slice(0, -1));
  const last = path.at(-1);
  if (parent?.type === 'map' && typeof last === 'string') {
    return parent.entries.get(last)?.keyAt ?? parent.at;
  }
  return valueAt(root, path)?.at ?? parent?.at ?? root.at;
}

/** As JSON would hold it, for validation. */
export function plain(node: Located): unknown {
  if (node.type === 'scalar') return node.value;
  if (node.type === 'list') return node.items.map(plain);
  return Object.fromEntries(Array.from(node.entries, ([key, entry]) => [key, plain(entry.value)]));
}

/** A member of a plain value; undefined where there is none. */
export function memberOf(value: unknown, step: PropertyKey): unknown {
  if (typeof value !== 'object' || value === null || !Object.hasOwn(value, step)) return undefined;
  return (value as Record<PropertyKey, unknown>)[step];
}

/** The text at the path; null where there is none or it is not known. */
export function textAt(root: Located, path: Path): string | null {
  const node = valueAt(root, path);
  return node?.type === 'scalar' && typeof node.value === 'string' && !node.broken
    ? node.value
    : null;
}

/** The items of the list at the path; none where there is no list. */
export function itemsAt(root: Located, path: Path): readonly Located[] {
  const node = valueAt(root, path);
  return node?.type === 'list' ? node.items : [];
}

function child(node: Located, step: string | number | undefined): Located | null {
  if (node.type === 'map' && typeof step === 'string') return node.entries.get(step)?.value ?? null;
  if (node.type === 'list' && typeof step === 'number') return node.items[step] ?? null;
  return null;
}
