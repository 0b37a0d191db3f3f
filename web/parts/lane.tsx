/** One service on the roll: who it is and how it stands, what its pen wrote today, what it says now, and thirty days. */
import type { FiguresProps, LaneProps, LastProps, SheetProps } from '../props.ts';
import { Mark, Word } from './mark.tsx';
import { keptMarkup } from './once.ts';
import { Scale } from './paper.tsx';
import { Strip } from './strip.tsx';
import { When } from './when.tsx';

interface LaneGiven {
  readonly lane: LaneProps;
  readonly sheet: SheetProps;
  /** All that a place on the sheet depends on. */
  readonly paper: string;
  /** The first of a group has the scale beside it. */
  readonly scaled: boolean;
}

export function Lane(given: LaneGiven) {
  return once(given.lane, given.scaled ? `scaled ${given.paper}` : given.paper, () => drawn(given));
}

const once = keptMarkup<LaneProps>();

function drawn({ lane, sheet, scaled }: Omit<LaneGiven, 'paper'>) {
  const { name, page, strip } = lane;
  return (
    <li class="lane">
      <Who lane={lane} />
      {strip && (
        <a class="day" href={page}>
          <span class="unseen">Details of {name}. </span>
          {scaled && <Scale />}
          <Strip sheet={sheet} strip={strip} />
        </a>
      )}
      <p class="reading">{lane.last && <Reading last={lane.last} />}</p>
      <p class="figures">
        <span class="unseen">30 days: </span>
        <Figures figures={lane.figures} />
      </p>
    </li>
  );
}

function Who({ lane }: { readonly lane: LaneProps }) {
  const { name, open, page, kind, state, since, remarks, strip } = lane;
  return (
    <div class="who">
      <Mark state={state} />
      <p>
        <a class="name" href={open ?? page} dir="auto">
          {name}
        </a>{' '}
        <span class="kind">{kind}</span>
      </p>
      <p class="aside">
        <Word state={state} />
        {since && (
          <>
            {' '}
            since <When at={since} />
          </>
        )}
        {remarks.map((remark) => `, ${remark}`)}
        {strip === null && open && (
          <>
            , <a href={page}>details</a>
          </>
        )}
      </p>
    </div>
  );
}

function Reading({ last: { at, reading } }: { readonly last: LastProps }) {
  return (
    <>
      {reading}
      <span class="aside">
        <When at={at} />
      </span>
    </>
  );
}

function Figures({ figures }: { readonly figures: FiguresProps }) {
  const { share, bounds, outages, restored } = figures;
  if (share === null) return <span class="aside">nothing observed</span>;
  return (
    <>
      <span class="share">{share}</span>
      {bounds && <span class="aside bounds">{bounds}</span>}
      <span class="aside">
        {outages}
        {restored !== null && `, mean ${restored}`}
      </span>
    </>
  );
}
