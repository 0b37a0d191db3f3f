/** A service by its name: a link as long as it has a page. */
import type { NamedProps } from '../props.ts';

export function Named({ service: { name, href } }: { readonly service: NamedProps }) {
  return href === null ? <span>{name}</span> : <a href={href}>{name}</a>;
}
