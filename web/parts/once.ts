/**
 * Markup that is made once and shown often: most of the roll is the same from one look to the next. What is kept goes with
 * the thing that it was made of.
 */
import type { VNode } from 'preact';
import { jsxTemplate } from 'preact/jsx-runtime';
import { renderToString } from 'preact-render-to-string';

/** `key`: what the markup depends on beside the thing. */
export type Once<Thing extends object> = (thing: Thing, key: string, make: () => VNode) => VNode;

export function keptMarkup<Thing extends object>(): Once<Thing> {
  const kept = new WeakMap<Thing, { readonly key: string; readonly markup: string }>();
  return (thing, key, make) => {
    const known = kept.get(thing);
    if (known?.key === key) return asIs(known.markup);
    const markup = renderToString(make());
    kept.set(thing, { key, markup });
    return asIs(markup);
  };
}

/** It was escaped when it was made. */
function asIs(markup: string): VNode {
  return jsxTemplate([markup]);
}
