/**
 * Names that point at each other: ids, `needs`, `through`, `only`. Read from the tree as it stands, so that these
 * mistakes are told together with all others.
 */
import { slug } from '../base/ids.ts';
import { cleanText } from '../base/text.ts';
import { type Circle, circlesOf, type Edge } from './circles.ts';
import { labelOf, ownerName, type Remark } from './explain.ts';
import { itemsAt, keyPlace, type Located, textAt, valueAt } from './located.ts';
import type { Path } from './mistake.ts';
import { nearest } from './nearest.ts';

/** So many unknown names get a "did you mean": a likeness is looked for among all services. */
const suggestionsCountMax = 50;

interface Names {
  /** Ids of services, by index; null where a service has none that can be told. */
  readonly ids: readonly (string | null)[];
  readonly groups: readonly string[];
  /** Ids and groups that stand in the file itself: only these are printed. */
  readonly printable: ReadonlySet<string>;
  suggestionsLeft: number;
}

export function checkReferences(root: Located): Remark[] {
  const indices = [...itemsAt(root, ['services']).keys()];
  const ids = indices.map((index) => idAt(root, index));
  const groupPaths: Path[] = indices.map((index) => ['services', index, 'group']);
  const groups = groupPaths.map((path) => textAt(root, path)?.trim() ?? '');
  const printable = new Set(
    [
      ...ids.filter((_, index) => isWritten(root, idPath(root, index))),
      ...groups.filter((_, index) => isWritten(root, groupPaths[index] ?? [])),
    ].filter(isName),
  );
  const names: Names = { ids, groups, printable, suggestionsLeft: suggestionsCountMax };
  return [
    ...repeatedIds(root, names),
    ...repeatedChannels(root),
    ...unknownNames(root, names),
    ...circles(root, names),
  ];
}

/** The `id`, or what the name makes of itself; null where neither is a text. */
function idAt(root: Located, index: number): string | null {
  const id = ['services', index, 'id'];
  if (valueAt(root, id) !== null) return textAt(root, id);
  const name = textAt(root, ['services', index, 'name']);
  return name === null ? null : slug(name);
}

function repeatedIds(root: Located, names: Names): Remark[] {
  const firsts = new Map<string, number>();
  return names.ids.flatMap((id, index) => {
    if (id === null) return [];
    if (id === '') return emptyId(root, index);
    const first = firsts.get(id);
    if (first === undefined) {
      firsts.set(id, index);
      return [];
    }
    const before = placeText(root, idPath(root, first));
    const message = `${labelOf(root, idPath(root, index))}: the id ${shown(id, names)} is taken already (${before}): give one of the two another \`id:\``;
    return [remark(root, idPath(root, index), message)];
  });
}

function emptyId(root: Located, index: number): Remark[] {
  // An empty `id:` or name is told by the schema.
  const name = textAt(root, ['services', index, 'name']);
  if (valueAt(root, ['services', index, 'id']) !== null || name === null || name.trim() === '') {
    return [];
  }
  const message = `${labelOf(root, ['services', index, 'name'])}: no letter or digit to make an id of: add an \`id:\`, such as id: shop`;
  return [remark(root, ['services', index, 'name'], message)];
}

function repeatedChannels(root: Located): Remark[] {
  const firsts = new Map<string, Path>();
  return itemsAt(root, ['tell']).flatMap((_, index) => {
    const path: Path = ['tell', index, 'name'];
    const name = textAt(root, path)?.trim();
    if (name === undefined) return [];
    const first = firsts.get(name);
    if (first === undefined) {
      firsts.set(name, path);
      return [];
    }
    const message = `${labelOf(root, path)}: another channel has this name already (${placeText(root, first)})`;
    return [remark(root, path, message)];
  });
}

function unknownNames(root: Located, names: Names): Remark[] {
  const ids = new Set(names.ids.filter(isName));
  const groups = new Set(names.groups.filter(isName));
  const toIds = [
    ...itemsAt(root, ['services']).flatMap((_, index) => [
      ['services', index, 'needs'],
      ['services', index, 'through'],
    ]),
    ...itemsAt(root, ['tell']).map((_, index) => ['tell', index, 'only', 'services']),
  ];
  const toGroups = itemsAt(root, ['tell']).map((_, index) => ['tell', index, 'only', 'groups']);
  const keptOf = (what: Kept['what'], known: ReadonlySet<string>): Kept => {
    const printed = [...known].filter((name) => names.printable.has(name));
    return { what, known, printed, names };
  };
  const services = keptOf('service', ids);
  const named = keptOf('group', groups);
  return [
    ...toIds.flatMap((path) => unknownIn(root, path, services)),
    ...toGroups.flatMap((path) => unknownIn(root, path, named)),
  ];
}

interface Kept {
  readonly what: 'service' | 'group';
  readonly known: ReadonlySet<string>;
  /** Those of them that may be shown. */
  readonly printed: readonly string[];
  readonly names: Names;
}

function unknownIn(root: Located, listPath: Path, { what, known, printed, names }: Kept): Remark[] {
  return itemsAt(root, listPath).flatMap((_, index) => {
    const path = [...listPath, index];
    const name = textAt(root, path);
    if (name === null || known.has(name)) return [];
    const written = isWritten(root, path)
      ? `\`${cleanText(name, 60)}\``
      : 'of the name put in here';
    names.suggestionsLeft -= 1;
    const near = names.suggestionsLeft < 0 ? null : meantBy(name, printed);
    const advice = near === null ? knownList(what, printed) : `did you mean \`${near}\`?`;
    const message = `${labelOf(root, path)}: there is no ${what} ${written}; ${advice}`;
    return [{ ...remark(root, path, message), ofWhole: true }];
  });
}

/** A name where the id belongs, or a likeness. */
function meantBy(name: string, known: readonly string[]): string | null {
  const asId = slug(name);
  return known.includes(asId) ? asId : nearest(name, known);
}

function knownList(what: string, known: readonly string[]): string {
  const shown = known.slice(0, 8).map((name) => cleanText(name, 40));
  if (shown.length === 0) return `no service has a ${what === 'group' ? 'group' : 'name'}`;
  return `known: ${shown.join(', ')}${known.length > shown.length ? ' …' : ''}`;
}

/** Who needs itself, on whatever way round, over `needs` and `through` alike. */
function circles(root: Located, names: Names): Remark[] {
  const edges = names.ids.flatMap((from, index) =>
    isName(from) ? edgesOf(root, from, index) : [],
  );
  return circlesOf(edges).map((circle) => {
    const [first] = circle;
    const label = labelOf(root, first.path);
    const message =
      circle.length === 1
        ? `${label}: a service cannot name itself here`
        : `${label}: these go round in a circle: ${wayText(circle, names)}`;
    return remark(root, first.path, message);
  });
}

/** `a -> b -> a`; of a very long way the beginning and the end. */
function wayText(circle: Circle, { printable }: Names): string {
  const ids = [...circle.map(({ from }) => from), circle[0].from];
  const way = ids.map((id) => (printable.has(id) ? cleanText(id, 64) : '…'));
  const shown = way.length > 16 ? [...way.slice(0, 8), '…', ...way.slice(-4)] : way;
  return shown.join(' -> ');
}

function edgesOf(root: Located, from: string, index: number): Edge[] {
  return ['needs', 'through'].flatMap((relation) =>
    itemsAt(root, ['services', index, relation]).flatMap((_, item) => {
      const path = ['services', index, relation, item];
      const to = textAt(root, path);
      return to === null ? [] : [{ from, to, path }];
    }),
  );
}

function idPath(root: Located, index: number): Path {
  const id = ['services', index, 'id'];
  return valueAt(root, id) === null ? ['services', index, 'name'] : id;
}

/** A name that was put in from outside is not shown. */
function shown(name: string, { printable }: Names): string {
  return printable.has(name) ? `\`${cleanText(name, 64)}\`` : 'put in from outside';
}

function isWritten(root: Located, path: Path): boolean {
  const node = valueAt(root, path);
  return node?.type === 'scalar' && node.source === null;
}

function placeText(root: Located, path: Path): string {
  const { line, column } = valueAt(root, path)?.at ?? keyPlace(root, path);
  const index = path[1];
  const isService = path[0] === 'services' && typeof index === 'number';
  const owner = isService ? `${ownerName(root, 'services', index)}, ` : '';
  return `${owner}line ${line}, column ${column}`;
}

function remark(root: Located, path: Path, message: string): Remark {
  const at = valueAt(root, path)?.at ?? keyPlace(root, path);
  return { at, path, message, ofWhole: false };
}

function isName(name: string | null): name is string {
  return name !== null && name !== '';
}
