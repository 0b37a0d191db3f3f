/** How to read the signs of the roll. */
import type { StateWord } from '../props.ts';
import { Entry } from './entry.tsx';
import { Mark, stateText } from './mark.tsx';

const meanings: readonly (readonly [StateWord, string])[] = [
  ['up', 'it answers as it should'],
  ['degraded', 'it answers with reservations; counts as up'],
  ['down', 'it does not answer, and a second question confirmed it'],
  ['unobserved', 'nobody looked, or nothing was proved; counts as neither'],
];

export function Key() {
  return (
    <Entry id="key" heading="Reading this page">
      <ul class="signs">
        {meanings.map(([state, meaning]) => (
          <li key={state}>
            <Mark state={state} />
            <span>
              <span class={`word is-${state}`}>{stateText(state)}</span>: {meaning}
            </span>
          </li>
        ))}
      </ul>
      <p>
        The strip is the last 24 hours: how long an answer took, on a scale of powers of ten;
        hatched while it was down, dotted while degraded, empty where nobody looked, a short stroke
        for a single failure that was not confirmed. Beside it stands, for 30 days, the share of the
        observed time in which it was up, with its bounds where they show, and the mean time to
        restoration.
      </p>
    </Entry>
  );
}
