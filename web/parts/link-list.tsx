/** Links one after the other, with commas. */
import type { LinkProps } from '../props.ts';

export function LinkList({ links }: { readonly links: readonly LinkProps[] }) {
  return (
    <>
      {links.map(({ name, href }, index) => (
        <span key={href}>
          {index > 0 && ', '}
          <a href={href} dir="auto">
            {name}
          </a>
        </span>
      ))}
    </>
  );
}
