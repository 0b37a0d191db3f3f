/** A part of a page: its heading in the margin, its text beside it. */
import type { ComponentChildren } from 'preact';

interface EntryProps {
  readonly id: string;
  readonly heading: string;
  /** Charts take the whole width, text a column that is good to read. */
  readonly wide?: boolean;
  readonly children: ComponentChildren;
}

export function Entry({ id, heading, wide = false, children }: EntryProps) {
  return (
    <section class="entry" aria-labelledby={id}>
      <h2 id={id} class="margin">
        {heading}
      </h2>
      <div class={wide ? 'wide' : 'text'}>{children}</div>
    </section>
  );
}
