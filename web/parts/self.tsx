/** Rollcall about itself: what is wrong with it, what it could not tell anybody, how it is otherwise. */
import type { SelfProps } from '../props.ts';
import { Entry } from './entry.tsx';
import { When } from './when.tsx';

/** One statement, short enough to stand above the roll; the rest is below. */
export function Alarm({ alarm }: { readonly alarm: string }) {
  return (
    <Entry id="alarm" heading="Rollcall itself">
      <p>
        <strong class="strong">{alarm}</strong> <a href="#itself">More below</a>
      </p>
    </Entry>
  );
}

export function AboutItself({ self }: { readonly self: SelfProps }) {
  return (
    <Entry id="itself" heading="About Rollcall itself">
      {self.troubles.map((text) => (
        <p key={text} class="strong">
          {text}
        </p>
      ))}
      {self.deadLetters.length > 0 && (
        <>
          <p class="strong">What could not be told:</p>
          <ul class="ruled">
            {self.deadLetters.map(({ at, summary, channel, said }) => (
              <li key={`${at.iso} ${channel} ${summary}`}>
                <When at={at} /> to “{channel}”: {summary}
                {said && <span class="aside">The last try ended with: {said}</span>}
              </li>
            ))}
          </ul>
        </>
      )}
      <p>{self.remarks.join(' ')}</p>
    </Entry>
  );
}
