/** What a service or a job hangs together with, and how that stands. */
import type { NeighbourProps } from '../props-service.ts';
import { Entry } from './entry.tsx';
import { Mark, Word } from './mark.tsx';

interface NeighboursGiven {
  readonly needs: readonly NeighbourProps[];
  readonly neededBy: readonly NeighbourProps[];
  readonly through: readonly NeighbourProps[];
}

export function Neighbours({ needs, neededBy, through }: NeighboursGiven) {
  const relations: readonly (readonly [string, readonly NeighbourProps[]])[] = [
    ['Needs', needs],
    ['Needed by', neededBy],
    ['Seen through', through],
  ];
  const present = relations.filter(([, neighbours]) => neighbours.length > 0);
  if (present.length === 0) return null;
  return (
    <Entry id="neighbours" heading="Hangs together with">
      <dl class="ruled pairs">
        {present.map(([word, neighbours]) => (
          <div key={word}>
            <dt>{word}</dt>
            {neighbours.map(({ name, href, state }) => (
              <dd key={href}>
                <Mark state={state} />
                <a class="alone" href={href} dir="auto">
                  {name}
                </a>{' '}
                <Word state={state} />
              </dd>
            ))}
          </div>
        ))}
      </dl>
    </Entry>
  );
}
