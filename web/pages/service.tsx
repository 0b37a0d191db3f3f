/** One service: how it stands, its last answer, its day, its thirty days, its outages, what it hangs together with. */
import { AskForm } from '../parts/acts.tsx';
import { Entry } from '../parts/entry.tsx';
import { Frame } from '../parts/frame.tsx';
import { Lede } from '../parts/lede.tsx';
import { LinkList } from '../parts/link-list.tsx';
import { Named } from '../parts/named.tsx';
import { Hours, Scale, Strip } from '../parts/strip.tsx';
import { Note, Reason } from '../parts/trouble.tsx';
import { When } from '../parts/when.tsx';
import type {
  FigureProps,
  LinkProps,
  OutageRowProps,
  PhaseProps,
  ServicePageProps,
} from '../props.ts';

export function ServicePage(props: ServicePageProps) {
  const { frame, now, state, sentence, trouble, note, day } = props;
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
          <p>
            <Note lines={note} />
          </p>
        </Entry>
      )}
      <Entry id="day" heading="Last 24 hours" wide>
        <figure class="chart">
          <Scale decades={day.decades} />
          <Strip strip={day} large />
          <Hours ticks={day.ticks} day={day} />
          <figcaption>
            {day.label} The line is the typical answer of ten minutes, the dotted one the slowest
            twentieth.
          </figcaption>
        </figure>
      </Entry>
      <LastAnswer {...props} />
      {props.ask && (
        <Entry id="ask" heading="Now">
          <AskForm form={props.ask} />
        </Entry>
      )}
      <Thirty figures={props.figures} shortest={props.shortest} />
      <Outages outages={props.outages} />
      <Relations {...props} />
    </Frame>
  );
}

function About({ kind, where, every, group, open, remarks, name }: ServicePageProps) {
  return (
    <>
      {group !== null && `Group ${group}. `}
      Asked by {kind} at {where} every {every}.
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

function LastAnswer({ last, phases, facts }: ServicePageProps) {
  if (!last) return null;
  return (
    <Entry id="last" heading="Last answer">
      <p>
        <When at={last.at} />: {last.unlike ?? 'answered'}, took {last.took}.
      </p>
      {phases.length > 0 && <Phases phases={phases} />}
      {facts.length > 0 && (
        <>
          <p>What it said of itself:</p>
          <dl class="ruled pairs">
            {facts.map(({ word, value }) => (
              <div key={word}>
                <dt>{word}</dt>
                <dd>{value}</dd>
              </div>
            ))}
          </dl>
        </>
      )}
    </Entry>
  );
}

function Phases({ phases }: { readonly phases: readonly PhaseProps[] }) {
  return (
    <table class="phases">
      <thead class="unseen">
        <tr>
          <th scope="col">Phase</th>
          <th scope="col">Took</th>
          <th scope="col">Share</th>
        </tr>
      </thead>
      <tbody>
        {phases.map(({ word, meaning, took, sharePercent }) => (
          <tr key={word}>
            <th scope="row">
              {word}
              <span class="aside">{meaning}</span>
            </th>
            <td class="took">{took}</td>
            <td class="bar">
              <svg role="img" aria-label={`${sharePercent} %`}>
                <rect width={`${sharePercent}%`} height="100%" />
              </svg>
            </td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

interface ThirtyProps {
  readonly figures: readonly FigureProps[];
  readonly shortest: string;
}

function Thirty({ figures, shortest }: ThirtyProps) {
  return (
    <Entry id="thirty" heading="Last 30 days">
      <dl class="ruled pairs">
        {figures.map(({ word, value, aside, meaning }) => (
          <div key={word}>
            <dt>{word}</dt>
            <dd>
              <span class="value">{value}</span>
              {aside && <span> {aside}</span>}
              <span class="aside">{meaning}</span>
            </dd>
          </div>
        ))}
      </dl>
      <p>{shortest}</p>
    </Entry>
  );
}

function Outages({ outages }: { readonly outages: readonly OutageRowProps[] }) {
  return (
    <Entry id="outages" heading="Outages">
      {outages.length === 0 ? (
        <p>None so far.</p>
      ) : (
        <ol class="ruled outages">
          {outages.map(({ page, began, lasted, over, layer, what, cause }) => (
            <li key={page}>
              <a href={page}>
                <When at={began} />
              </a>{' '}
              <span>{over ? lasted : `${lasted} so far`}</span>{' '}
              <span class="what">
                {cause && (
                  <>
                    Behind <Named service={cause} />.{' '}
                  </>
                )}
                {layer}: {what}
              </span>
            </li>
          ))}
        </ol>
      )}
    </Entry>
  );
}

function Relations({ needs, neededBy, through }: ServicePageProps) {
  const relations: readonly (readonly [string, readonly LinkProps[]])[] = [
    ['Needs', needs],
    ['Needed by', neededBy],
    ['Seen through', through],
  ];
  const present = relations.filter(([, links]) => links.length > 0);
  if (present.length === 0) return null;
  return (
    <Entry id="relations" heading="Hangs together with">
      <dl class="ruled pairs">
        {present.map(([word, links]) => (
          <div key={word}>
            <dt>{word}</dt>
            <dd>
              <LinkList links={links} />
            </dd>
          </div>
        ))}
      </dl>
    </Entry>
  );
}
