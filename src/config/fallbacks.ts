/** `fallback`: it names another channel, and nobody's goes round in a circle. */
import { cleanText } from '../base/text.ts';
import { circlesOf, type Edge } from './circles.ts';
import { labelOf, type Remark } from './explain.ts';
import { itemsAt, keyPlace, type Located, textAt, valueAt } from './located.ts';
import type { Path } from './mistake.ts';
import { nearest } from './nearest.ts';

export function fallbackRemarks(root: Located): Remark[] {
  const channels = itemsAt(root, ['tell']).map((_, index) => {
    const path: Path = ['tell', index, 'fallback'];
    const name = textAt(root, ['tell', index, 'name'])?.trim() ?? null;
    return { name, isWritten: isWritten(root, ['tell', index, 'name']), path };
  });
  const known = channels.flatMap(({ name }) => (name === null || name === '' ? [] : [name]));
  const printed = channels.flatMap(({ name, isWritten: is }) =>
    name !== null && is ? [name] : [],
  );
  const edges = channels.flatMap(({ name, path }): Edge[] => {
    const to = textAt(root, path)?.trim();
    return name === null || to === undefined ? [] : [{ from: name, to, path }];
  });
  const unknown = edges
    .filter(({ to }) => to !== '' && !known.includes(to))
    .map(({ to, path }) => {
      const shown = isWritten(root, path) ? `\`${cleanText(to, 60)}\`` : 'of the name put in here';
      const near = nearest(to, printed);
      const advice = near === null ? '' : `; did you mean \`${cleanText(near, 60)}\`?`;
      return { ...remark(root, path, `there is no channel ${shown}${advice}`), ofWhole: true };
    });
  const circles = circlesOf(edges).map((circle) => {
    const way = [...circle.map(({ from }) => from), circle[0].from]
      .slice(0, 17)
      .map((name) => (printed.includes(name) ? cleanText(name, 60) : '…'))
      .join(' -> ');
    const message =
      circle.length === 1
        ? 'a channel cannot stand in for itself'
        : `these go round in a circle: ${way}`;
    return remark(root, circle[0].path, message);
  });
  return [...unknown, ...circles];
}

function isWritten(root: Located, path: Path): boolean {
  const node = valueAt(root, path);
  return node?.type === 'scalar' && node.source === null;
}

function remark(root: Located, path: Path, text: string): Remark {
  const at = valueAt(root, path)?.at ?? keyPlace(root, path);
  return { at, path, message: `${labelOf(root, path)}: ${text}`, ofWhole: false };
}
