/**
 * The roll: one sheet of chart paper with a lane for each service, folded by group. The lines of the hours run through
 * all of it, so that what happened at one time stands one beneath the other.
 */
import type { FindProps, GroupProps, SheetProps } from '../props.ts';
import { Lane } from './lane.tsx';
import { keptMarkup } from './once.ts';
import { Hours, Paper, paperKey } from './paper.tsx';

interface RollGiven {
  readonly groups: readonly GroupProps[];
  readonly sheet: SheetProps;
}

export function Roll({ groups, sheet }: RollGiven) {
  const paper = paperKey(sheet, false);
  return (
    <div class="roll">
      <Paper sheet={sheet} />
      <p class="columns" aria-hidden="true">
        <span class="day">Last 24 hours</span>
        <span class="reading">Last answer</span>
        <span class="figures">Last 30 days</span>
      </p>
      {groups.map((group) => (
        <Group key={group.name} group={group} sheet={sheet} paper={paper} />
      ))}
    </div>
  );
}

interface GroupGiven {
  readonly group: GroupProps;
  readonly sheet: SheetProps;
  /** All that a place on the sheet depends on. */
  readonly paper: string;
}

function Group(given: GroupGiven) {
  return once(given.group, given.paper, () => drawn(given));
}

const once = keptMarkup<GroupProps>();

function drawn({ group, sheet, paper }: GroupGiven) {
  // A job has no line that could be read by it.
  const scaled = group.lanes.findIndex(({ kind }) => kind !== 'job');
  const { name, count, share, page, open, lanes } = group;
  return (
    <details class="group" open={open}>
      <summary>
        <span class="title">
          <span class="fold" dir="auto">
            {name ?? 'Without a group'}
          </span>{' '}
          <span class="aside">{count}</span>
        </span>
        <Hours />
        {share && (
          <span class="together">
            <span class="aside">all up</span> {share}
          </span>
        )}
      </summary>
      <ul>
        {lanes.map((lane, index) => (
          <Lane key={lane.id} lane={lane} sheet={sheet} paper={paper} scaled={index === scaled} />
        ))}
      </ul>
      {page && (
        <p class="more">
          <a class="alone" href={page}>
            {name ?? 'These'} with strips
          </a>
        </p>
      )}
    </details>
  );
}

/** Works without script: the roll is then asked for again. With it, what does not match is left out as one types. */
export function Find({ find }: { readonly find: FindProps }) {
  return (
    <search>
      <form class="find" action={find.action}>
        <label for="find">Find</label>
        <input
          id="find"
          type="search"
          name="find"
          value={find.words}
          maxLength={100}
          autocomplete="off"
          dir="auto"
        />
        <button type="submit">Show</button>
        <p id="found" role="status">
          {find.found}
          {find.found && (
            <>
              {' '}
              <a href={find.action}>Show all</a>
            </>
          )}
        </p>
      </form>
    </search>
  );
}
