/** A service by its name: a link as long as it has a page. */
import type { NamedProps } from '../props.ts';

export function Named({ service: { name, href } }: { readonly service: NamedProps }) {
  return href === null ? (
    <bdi>{name}</bdi>
  ) : (
    <a href={href} dir="auto">
      {name}
    </a>
  );
}
