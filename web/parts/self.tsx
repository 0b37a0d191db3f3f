/** Something is wrong with Rollcall itself: one statement, short enough to stand above the roll. */
import type { AlarmProps } from '../props.ts';
import { Entry } from './entry.tsx';

export function Alarm({ alarm: { sentence, more } }: { readonly alarm: AlarmProps }) {
  return (
    <Entry id="alarm" heading="Rollcall itself">
      <p>
        <strong class="strong">{sentence}</strong> <a href={more}>More about it</a>
      </p>
    </Entry>
  );
}
