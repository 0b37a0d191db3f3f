/** The first words of a page: the date, then one sentence that says how it is. */
import type { ComponentChildren } from 'preact';
import type { MomentProps, StateWord } from '../props.ts';
import { Mark } from './mark.tsx';
import { When } from './when.tsx';

interface LedeProps {
  readonly now: MomentProps;
  readonly sentence: string;
  readonly state?: StateWord;
  readonly children?: ComponentChildren;
}

export function Lede({ now, sentence, state, children }: LedeProps) {
  return (
    <div class="lede">
      <p class="date">
        <When at={now} />
      </p>
      <h1>
        {state && <Mark state={state} />}
        {sentence}
      </h1>
      {children && <p>{children}</p>}
    </div>
  );
}
