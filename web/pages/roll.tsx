/** The roll: one sentence, what is wrong, an alarm about Rollcall itself, everybody by group, and how to read it. */
import { Entry } from '../parts/entry.tsx';
import { Frame } from '../parts/frame.tsx';
import { Key } from '../parts/key.tsx';
import { Lede } from '../parts/lede.tsx';
import { Find, Roll } from '../parts/roll.tsx';
import { Alarm } from '../parts/self.tsx';
import { Trouble } from '../parts/trouble.tsx';
import type { RollPageProps } from '../props.ts';

export function RollPage(props: RollPageProps) {
  const { frame, now, sentence, troubles, alarm, find, groups, sheet, planned } = props;
  return (
    <Frame frame={frame}>
      <Lede now={now} sentence={sentence} />
      {troubles.length > 0 && (
        <section aria-labelledby="wrong">
          <h2 id="wrong" class="unseen">
            What is wrong
          </h2>
          {troubles.map((trouble) => (
            <Trouble key={trouble.id} trouble={trouble} />
          ))}
          {props.moreTroubles && <p class="further">{props.moreTroubles}</p>}
        </section>
      )}
      {alarm && <Alarm alarm={alarm} />}
      {(groups.length > 0 || find) && (
        <section aria-labelledby="roll">
          <h2 id="roll" class="unseen">
            The roll
          </h2>
          {find && <Find find={find} />}
          <Roll groups={groups} sheet={sheet} />
        </section>
      )}
      {/* Jobs follow the roll, an Entry of their own. */}
      {planned && (
        <Entry id="planned" heading="Planned">
          <p>
            {planned.sentence} <a href={planned.more}>All planned work</a>
          </p>
        </Entry>
      )}
      <Key hasJobs={groups.some(({ lanes }) => lanes.some(({ kind }) => kind === 'job'))} />
    </Frame>
  );
}
