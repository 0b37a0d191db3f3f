/** One service: how it stands, its course, its answers, what it says of itself, its figures, outages and neighbours. */
import { AskForm } from '../parts/acts.tsx';
import { Chart } from '../parts/chart.tsx';
import { Entry } from '../parts/entry.tsx';
import { Facts } from '../parts/facts.tsx';
import { FigureList } from '../parts/figures.tsx';
import { Frame } from '../parts/frame.tsx';
import { Latencies } from '../parts/latencies.tsx';
import { Lede } from '../parts/lede.tsx';
import { Neighbours } from '../parts/neighbours.tsx';
import { OutageList } from '../parts/outage-list.tsx';
import { Note, Reason } from '../parts/trouble.tsx';
import type { ChartProps, ServicePageProps } from '../props-service.ts';

export function ServicePage(props: ServicePageProps) {
  const { frame, now, state, sentence, trouble, note, outages, budget } = props;
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
      <Course chart={props.chart} />
      <Facts {...props} />
      {props.ask && (
        <Entry id="ask" heading="Now">
          <AskForm form={props.ask} />
        </Entry>
      )}
      <Entry id="thirty" heading="Thirty days in figures">
        <FigureList figures={props.figures} />
        <p>{props.shortest}</p>
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
            {props.planned.map((sentence) => (
              <li key={sentence}>{sentence}</li>
            ))}
          </ul>
        </Entry>
      )}
      <Neighbours {...props} />
    </Frame>
  );
}

function About({ kind, where, every, group, open, remarks, name }: ServicePageProps) {
  return (
    <>
      {group !== null && (
        <>
          Group <bdi>{group}</bdi>.{' '}
        </>
      )}
      Asked by {kind} at <bdi>{where}</bdi> every {every}.
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

function Course({ chart }: { readonly chart: ChartProps }) {
  const { heading, ranges, sheet, strip, step, counts, latencies } = chart;
  return (
    <Entry id="course" heading={heading} wide>
      <nav class="ranges" aria-label="How far back">
        {ranges.map(({ name, href, here }) => (
          <a key={href} class="alone" href={href} {...(here && { 'aria-current': 'page' })}>
            {name}
          </a>
        ))}
      </nav>
      <Chart sheet={sheet} strip={strip}>
        {strip.label} The line is the typical answer of {step}; dashed, what 95 of 100 answers took
        at most; dotted, 99 of 100.
      </Chart>
      <div class="text">
        <p>{counts}</p>
        {latencies.length > 0 && <Latencies rows={latencies} />}
      </div>
    </Entry>
  );
}
