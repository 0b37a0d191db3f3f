/**
 * Names that point at each other: ids, `needs`, `through`, `only`. Read from the tree as it stands, so that these
 * mistakes are told together with all others.
 */
import { slug } from '../base/ids.ts';
import { cleanText } from '../base/text.ts';
import { type Circle, circlesOf, type Edge } from './circles.ts';
import { labelOf, ownerName, type Remark } from './explain.ts';
import { fallbackRemarks } from './fallbacks.ts';
import { itemsAt, keyPlace, type Located, textAt, valueAt } from './located.ts';
import type { Path } from './mistake.ts';
import { nearest } from './nearest.ts';

/** So many unknown names get a "did you mean": a likeness is looked for among all services. */
const suggestionsCountMax = 50;

/** A service or a job: their ids are of one kind. */
interface Owner {
  readonly section: 'services' | 'jobs';
  readonly index: number;
  /** Null where it has none that can be told. */
  readonly id: string | null;
}

interface Names {
  readonly owners: readonly Owner[];
  readonly groups: readonly string[];
  /** Ids and groups that stand in the file itself: only these are printed. */
  readonly printable: ReadonlySet<string>;
  suggestionsLeft: number;
}

export function checkReferences(root: Located): Remark[] {
  const owners = (['services', 'jobs'] as const).flatMap((section) =>
    [...itemsAt(root, [section]).keys()].map((index): Owner => {
      return { section, index, id: idAt(root, section, index) };
    }),
  );
  const groupPaths: Path[] = owners.map(({ section, index }) => [section, index, 'group']);
  const groups = groupPaths.map((path) => textAt(root, path)?.trim() ?? '');
  const printable = new Set(
    [
      ...owners.filter((owner) => isWritten(root, idPath(root, owner))).map(({ id }) => id),
      ...groups.filter((_, index) => isWritten(root, groupPaths[index] ?? [])),
    ].filter(isName),
  );
  const names: Names = { owners, groups, printable, suggestionsLeft: suggestionsCountMax };
  return [
    ...nothingToWatch(root, owners),
    ...repeatedIds(root, names),
    ...repeatedNames(root, 'tell', 'channel'),
    ...fallbackRemarks(root),
    ...repeatedNames(root, 'planned', 'planned window'),
    ...unknownNames(root, names),
    ...circles(root, names),
  ];
}

/** Whoever has jobs alone needs no service. */
function nothingToWatch(root: Located, owners: readonly Owner[]): Remark[] {
  if (owners.length > 0 || root.type !== 'map') return [];
  const services = valueAt(root, ['services']);
  if (services === null) {
    const message =
      '`services` is missing: expected a list of services, each beginning with `- name:`';
    return [{ at: root.at, path: ['services'], message, ofWhole: true }];
  }
  if (services.type !== 'list') return [];
  return [
    remark(root, ['services'], '`services`: found an empty list, expected at least one service'),
  ];
}

/** The `id`, or what the name makes of itself; null where neither is a text. */
function idAt(root: Located, section: Owner['section'], index: number): string | null {
  const id = [section, index, 'id'];
  if (valueAt(root, id) !== null) return textAt(root, id);
  const name = textAt(root, [section, index, 'name']);
  return name === null ? null : slug(name);
}

function repeatedIds(root: Located, names: Names): Remark[] {
  const firsts = new Map<string, Owner>();
  return names.owners.flatMap((owner) => {
    const { id } = owner;
    if (id === null) return [];
    if (id === '') return emptyId(root, owner);
    const first = firsts.get(id);
    if (first === undefined) {
      firsts.set(id, owner);
      return [];
    }
    const path = idPath(root, owner);
    const before = placeText(root, idPath(root, first));
    const message = `${labelOf(root, path)}: the id ${shown(id, names)} is taken already (${before}): give one of the two another \`id:\``;
    return [remark(root, path, message)];
  });
}

function emptyId(root: Located, { section, index }: Owner): Remark[] {
  // An empty `id:` or name is told by the schema.
  const path: Path = [section, index, 'name'];
  const name = textAt(root, path);
  if (valueAt(root, [section, index, 'id']) !== null || name === null || name.trim() === '') {
    return [];
  }
  const message = `${labelOf(root, path)}: no letter or digit to make an id of: add an \`id:\`, such as id: shop`;
  return [remark(root, path, message)];
}

function repeatedNames(root: Located, section: 'tell' | 'planned', what: string): Remark[] {
  const firsts = new Map<string, Path>();
  return itemsAt(root, [section]).flatMap((_, index) => {
    const path: Path = [section, index, 'name'];
    const name = textAt(root, path)?.trim();
    if (name === undefined) return [];
    // Windows are told apart by what their names make of an id.
    const key = section === 'planned' ? slug(name) || name : name;
    const first = firsts.get(key);
    if (first === undefined) {
      firsts.set(key, path);
      return [];
    }
    const message = `${labelOf(root, path)}: another ${what} has this name already (${placeText(root, first)})`;
    return [remark(root, path, message)];
  });
}

function unknownNames(root: Located, names: Names): Remark[] {
  const ids = new Set(names.owners.map(({ id }) => id).filter(isName));
  const groups = new Set(names.groups.filter(isName));
  const toIds = [
    ...itemsAt(root, ['services']).flatMap((_, index) => [
      ['services', index, 'needs'],
      ['services', index, 'through'],
    ]),
    ...itemsAt(root, ['jobs']).map((_, index) => ['jobs', index, 'needs']),
    ...itemsAt(root, ['tell']).map((_, index) => ['tell', index, 'only', 'services']),
    ...itemsAt(root, ['planned']).map((_, index) => ['planned', index, 'services']),
  ];
  const toGroups = [
    ...itemsAt(root, ['tell']).map((_, index) => ['tell', index, 'only', 'groups']),
    ...itemsAt(root, ['planned']).map((_, index) => ['planned', index, 'groups']),
  ];
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
  const edges = names.owners.flatMap((owner) =>
    isName(owner.id) ? edgesOf(root, owner.id, owner) : [],
  );
  return circlesOf(edges).map((circle) => {
    const [first] = circle;
    const label = labelOf(root, first.path);
    const message =
      circle.length === 1
        ? `${label}: ${first.path[0] === 'jobs' ? 'a job' : 'a service'} cannot name itself here`
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

function edgesOf(root: Located, from: string, { section, index }: Owner): Edge[] {
  return ['needs', 'through'].flatMap((relation) =>
    itemsAt(root, [section, index, relation]).flatMap((_, item) => {
      const path = [section, index, relation, item];
      const to = textAt(root, path);
      return to === null ? [] : [{ from, to, path }];
    }),
  );
}

function idPath(root: Located, { section, index }: Owner): Path {
  const id = [section, index, 'id'];
  return valueAt(root, id) === null ? [section, index, 'name'] : id;
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
  const [section] = path;
  const isOwned = (section === 'services' || section === 'jobs') && typeof index === 'number';
  const owner = isOwned ? `${ownerName(root, section, index)}, ` : '';
  return `${owner}line ${line}, column ${column}`;
}

function remark(root: Located, path: Path, message: string): Remark {
  const at = valueAt(root, path)?.at ?? keyPlace(root, path);
  return { at, path, message, ofWhole: false };
}

function isName(name: string | null): name is string {
  return name !== null && name !== '';
}
