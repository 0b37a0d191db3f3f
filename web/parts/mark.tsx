/** The sign of a state, drawn once on the page (`paper.tsx`). A word always stands beside it. */
import type { StateWord } from '../props.ts';

export function Mark({ state }: { readonly state: StateWord }) {
  return (
    <svg class={`mark is-${state}`} aria-hidden="true">
      <use href={`#sign-${state}`} />
    </svg>
  );
}

export function Word({ state }: { readonly state: StateWord }) {
  return <span class={`word is-${state}`}>{stateText(state)}</span>;
}

/** `down`, `not observed`. */
export function stateText(state: StateWord): string {
  return state === 'unobserved' ? 'not observed' : state;
}
