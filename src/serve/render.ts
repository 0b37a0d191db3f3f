/** From a component and its props to the text of a page. */
import { type FunctionComponent, h } from 'preact';
import { renderToString } from 'preact-render-to-string';

export function htmlOf<Props extends object>(
  component: FunctionComponent<Props>,
  props: Props,
): string {
  return `<!doctype html>${renderToString(h(component, props))}`;
}
