/** The signs of the states: another outline for each, so that they are told apart without colour. */
import type { StateWord } from '../props.ts';

/** Drawn where it stands, for a page that has nothing to refer to; elsewhere `Mark` uses what is drawn once. */
export function Sign({ state }: { readonly state: StateWord }) {
  return (
    <svg class={`mark is-${state}`} viewBox="0 0 16 16" aria-hidden="true">
      <Shape state={state} />
    </svg>
  );
}

/** A tick, a triangle, a filled lozenge with a cross, an open broken ring: told apart without colour. */
export function Shape({ state }: { readonly state: StateWord }) {
  switch (state) {
    case 'up':
      return <path class="stroke" d="M2.5 8.7 6.2 12.6 13.5 3.4" />;
    case 'degraded':
      return <path class="stroke" d="M8 1.9 14.9 14H1.1ZM8 6.4V9.6M8 11.8V12" />;
    case 'down':
      return (
        <>
          <path class="fill" d="M8 0 16 8 8 16 0 8Z" />
          <path class="cut" d="M5.6 5.6 10.4 10.4M10.4 5.6 5.6 10.4" />
        </>
      );
    case 'unobserved':
      return <circle class="stroke broken" cx="8" cy="8" r="6" />;
  }
}
