/** Words with their values, and what they mean: ruled, like the back of a logbook. */
import type { FigureProps } from '../props.ts';

export function FigureList({ figures }: { readonly figures: readonly FigureProps[] }) {
  return (
    <dl class="ruled pairs">
      {figures.map(({ word, value, aside, meaning }) => (
        <div key={word}>
          <dt>{word}</dt>
          <dd>
            <span class="value">{value}</span>
            {aside && <span> {aside}</span>}
            {meaning && <span class="aside">{meaning}</span>}
          </dd>
        </div>
      ))}
    </dl>
  );
}
