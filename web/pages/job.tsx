/** One job: how it stands, when it is due, what its last run said, how the last ones went, its figures and outages. */
import { Entry } from '../parts/entry.tsx';
import { FigureList } from '../parts/figures.tsx';
import { Frame } from '../parts/frame.tsx';
import { Lede } from '../parts/lede.tsx';
import { Neighbours } from '../parts/neighbours.tsx';
import { OutageList } from '../parts/outage-list.tsx';
import { RunStrip } from '../parts/run-strip.tsx';
import { Note, Reason } from '../parts/trouble.tsx';
import { When } from '../parts/when.tsx';
import type { JobPageProps } from '../props-job.ts';

export function JobPage(props: JobPageProps) {
  const { frame, now, state, sentence, trouble, note, output, outages, budget } = props;
  return (
    <Frame frame={frame}>
      <Lede now={now} sentence={sentence} state={state}>
        <About {...props} />
      </Lede>
      {trouble && (
        <Entry id="why" heading="Why">
          <Reason trouble={trouble} />
        </Entry>
      )}
      {!trouble && note.length > 0 && (
        <Entry id="note" heading="Note">
          <Note lines={note} />
        </Entry>
      )}
      <Entry id="next" heading="Due">
        <FigureList figures={props.next} />
      </Entry>
      {output && (
        <Entry id="output" heading={output.heading}>
          {/* biome-ignore lint/a11y/noNoninteractiveTabindex: what scrolls must be reached without a pointer */}
          <div class="end" tabIndex={0}>
            <pre class="output" dir="auto">
              {output.text}
            </pre>
          </div>
        </Entry>
      )}
      <Runs {...props} />
      <Entry id="thirty" heading="Thirty days in figures">
        <FigureList figures={props.figures} />
      </Entry>
      {budget.length > 0 && (
        <Entry id="objective" heading="Objective">
          <FigureList figures={budget} />
        </Entry>
      )}
      <Entry id="outages" heading="Outages">
        {outages.length === 0 ? <p>None so far.</p> : <OutageList outages={outages} />}
      </Entry>
      {props.planned.length > 0 && (
        <Entry id="planned" heading="Planned">
          <ul class="ruled">
            {props.planned.map((one) => (
              <li key={one}>{one}</li>
            ))}
          </ul>
        </Entry>
      )}
      <Neighbours {...props} through={[]} />
    </Frame>
  );
}

function About({ group, agreed, remarks, open, name }: JobPageProps) {
  return (
    <>
      {group !== null && (
        <>
          Group <bdi>{group}</bdi>.{' '}
        </>
      )}
      {agreed}
      {remarks.length > 0 && ` Now: ${remarks.join(', ')}.`}
      {open && (
        <>
          {' '}
          <a href={open}>Open {name}</a>
        </>
      )}
    </>
  );
}

function Runs({ strip, runs, programs }: JobPageProps) {
  return (
    <Entry id="runs" heading="Last runs">
      {strip && <RunStrip strip={strip} />}
      {runs.length === 0 ? (
        <p>None so far.</p>
      ) : (
        <>
          <ol class="ruled">
            {runs.map(({ id, at, what, told }) => (
              <li key={id}>
                <When at={at} />: {what}
                {told !== null && (
                  <>
                    , <bdi>{told}</bdi>
                  </>
                )}
              </li>
            ))}
          </ol>
          <p>
            With what each wrote, for programs: <a href={programs.href}>{programs.name}</a>
          </p>
        </>
      )}
    </Entry>
  );
}
