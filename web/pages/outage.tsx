/** One outage: why, its course, what was told to whom, what the owner wrote, and earlier ones like it. */
import type { OwnerNoteProps } from '../owner-props.ts';
import { KnownForm, NoteForm } from '../parts/acts.tsx';
import { Chart } from '../parts/chart.tsx';
import { Entry } from '../parts/entry.tsx';
import { Frame } from '../parts/frame.tsx';
import { Lede } from '../parts/lede.tsx';
import { Mark } from '../parts/mark.tsx';
import { Named } from '../parts/named.tsx';
import { OutageList } from '../parts/outage-list.tsx';
import { Note, Reason } from '../parts/trouble.tsx';
import { When } from '../parts/when.tsx';
import type { CourseProps, OutagePageProps } from '../props-outage.ts';

export function OutagePage(props: OutagePageProps) {
  const { frame, now, service, sentence, state, cause, sheet, strip } = props;
  return (
    <Frame frame={frame}>
      <Lede now={now} sentence={sentence} state={state}>
        {(cause || service.href) && (
          <>
            {cause && (
              <>
                Behind <Named service={cause} />.{' '}
              </>
            )}
            {service.href && <a href={service.href}>Details of {service.name}</a>}
          </>
        )}
      </Lede>
      <Entry id="why" heading="Why">
        <Reason trouble={props} />
        {props.seen && <p>{props.seen}</p>}
      </Entry>
      <Entry id="course" heading="Its course" wide>
        <Chart sheet={sheet} strip={strip}>
          {strip.label}
        </Chart>
        <div class="text">
          <Course course={props.course} />
          {props.bounds.length > 0 && <p>{props.bounds.join(' ')}</p>}
        </div>
      </Entry>
      <Notices {...props} />
      <OwnerNotes notes={props.notes} add={props.addNote} />
      <Earlier {...props} />
    </Frame>
  );
}

function Course({ course }: { readonly course: readonly CourseProps[] }) {
  return (
    <ol class="signs course">
      {course.map(({ at, later, what, state }) => (
        <li key={`${at.iso} ${what}`}>
          <Mark state={state} />
          <span>
            <When at={at} />
            {later && <span class="aside">{later} later</span>}
          </span>
          <span class="moment">{what}</span>
        </li>
      ))}
    </ol>
  );
}

function Notices({ notices, known, know }: OutagePageProps) {
  return (
    <Entry id="notices" heading="Notices">
      {notices.length === 0 ? (
        <p>Nobody was told.</p>
      ) : (
        <ul class="ruled">
          {notices.map(({ at, summary, channel, fate, attempts }) => (
            <li key={`${at.iso} ${channel} ${summary}`}>
              <When at={at} /> to “<bdi>{channel}</bdi>”: {summary} <em>{fate}</em>
              {attempts.map((text) => (
                <span key={text} class="aside">
                  {text}
                </span>
              ))}
            </li>
          ))}
        </ul>
      )}
      {known && (
        <p>
          Known since <When at={known} />: no more reminders.
        </p>
      )}
      {know && <KnownForm form={know} />}
    </Entry>
  );
}

interface OwnerNotesProps {
  readonly notes: readonly OwnerNoteProps[];
  readonly add: OutagePageProps['addNote'];
}

/** What the owner wrote about it; nothing at all where there is nothing and nobody may write. */
function OwnerNotes({ notes, add }: OwnerNotesProps) {
  if (notes.length === 0 && !add) return null;
  return (
    <Entry id="owner-notes" heading="Notes">
      {notes.length > 0 && (
        <ul class="ruled">
          {notes.map(({ at, lines }, place) => (
            <li key={`${at.iso} ${place}`}>
              <When at={at} /> <Note lines={lines} />
            </li>
          ))}
        </ul>
      )}
      {add && <NoteForm form={add} charsMax={add.charsMax} />}
    </Entry>
  );
}

function Earlier({ earlier, earlierCount }: OutagePageProps) {
  return (
    <Entry id="earlier" heading="Earlier ones like it">
      {earlier.length === 0 ? (
        <p>It was the first for this reason.</p>
      ) : (
        <OutageList outages={earlier} />
      )}
      {earlierCount && <p>{earlierCount}</p>}
    </Entry>
  );
}
