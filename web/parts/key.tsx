/** How to read the signs and the strips. */
import type { StateWord } from '../props.ts';
import { Entry } from './entry.tsx';
import { Mark, Word } from './mark.tsx';
import { keptMarkup } from './once.ts';

const meanings: readonly (readonly [StateWord, string])[] = [
  ['up', 'it answers as it should'],
  ['degraded', 'it answers with reservations; counts as up'],
  ['down', 'it does not answer, and a second question confirmed it'],
  ['unobserved', 'nobody looked, or nothing was proved; counts as neither'],
];

interface KeyGiven {
  readonly hasJobs: boolean;
}

export function Key({ hasJobs }: KeyGiven) {
  return once(meanings, String(hasJobs), () => drawn({ hasJobs }));
}

const once = keptMarkup<typeof meanings>();

function drawn({ hasJobs }: KeyGiven) {
  return (
    <Entry id="key" heading="Reading this page">
      <ul class="signs">
        {meanings.map(([state, meaning]) => (
          <li key={state}>
            <Mark state={state} />
            <span>
              <Word state={state} />: {meaning}
            </span>
          </li>
        ))}
      </ul>
      {hasJobs && (
        <p>
          A job is up while its last run ended well and the next one is not overdue; it is down
          while it has failed, is overdue, or hangs.
        </p>
      )}
      <p>
        Each strip is the last 24 hours of a service and leads to its page. The higher the line, the
        longer an answer took: from one hairline to the next ten times as long, on all strips alike.
        Hatched: down. Dotted: degraded. Shaded: planned. Blank: nobody looked. A short stroke: a
        single failure that was not confirmed.
      </p>
      <p>
        The share is that of the observed time of 30 days in which it was up, with its bounds where
        they show; the mean is the time to restoration.
      </p>
    </Entry>
  );
}
