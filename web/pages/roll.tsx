/** The roll: one sentence, what is wrong, an alarm about Rollcall itself, everybody by group, and more about it. */
import { Frame } from '../parts/frame.tsx';
import { Key } from '../parts/key.tsx';
import { Lede } from '../parts/lede.tsx';
import { RollTable } from '../parts/roll-table.tsx';
import { AboutItself, Alarm } from '../parts/self.tsx';
import { Trouble } from '../parts/trouble.tsx';
import type { RollPageProps } from '../props.ts';

export function RollPage(props: RollPageProps) {
  const { frame, now, sentence, troubles, groups, self } = props;
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
        </section>
      )}
      {self.alarm !== null && <Alarm alarm={self.alarm} />}
      {groups.length > 0 && (
        <section aria-labelledby="roll">
          <h2 id="roll" class="unseen">
            The roll
          </h2>
          <RollTable groups={groups} ticks={props.ticks} day={props.day} />
        </section>
      )}
      <AboutItself self={self} />
      <Key />
    </Frame>
  );
}
