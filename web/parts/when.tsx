/** An instant, for people and for machines. */
import type { MomentProps } from '../props.ts';

export function When({ at }: { readonly at: MomentProps }) {
  return <time dateTime={at.iso}>{at.text}</time>;
}
