/** The roll by group: name, state, since, last answer, the last day, and thirty days. On a phone each row folds into a block. */
import type { FiguresProps, GroupProps, LastProps, RollPageProps, RowProps } from '../props.ts';
import { Mark, stateText } from './mark.tsx';
import { Hours, Strip } from './strip.tsx';
import { When } from './when.tsx';

export function RollTable({ groups, ticks, day }: Pick<RollPageProps, 'groups' | 'ticks' | 'day'>) {
  return (
    <table class="roll">
      <thead>
        <tr>
          <th scope="col" class="group">
            <span class="unseen">Group</span>
          </th>
          <th scope="col">Service</th>
          <th scope="col" class="state">
            State
          </th>
          <th scope="col" class="last">
            Last answer
          </th>
          <th scope="col" class="day">
            Last 24 hours
            <Hours ticks={ticks} day={day} />
          </th>
          <th scope="col" class="figures">
            Last 30 days
          </th>
        </tr>
      </thead>
      {groups.map((group) => (
        <Group key={group.name} group={group} />
      ))}
    </table>
  );
}

function Group({ group: { name, rows } }: { readonly group: GroupProps }) {
  return (
    <tbody>
      {rows.map((row, index) => (
        <tr key={row.id} class={index === 0 ? 'first' : undefined}>
          {index === 0 && <GroupName name={name} span={rows.length} />}
          <Row row={row} />
        </tr>
      ))}
    </tbody>
  );
}

function GroupName({ name, span }: { readonly name: string | null; readonly span: number }) {
  if (name === null) return <td class="group" rowSpan={span} />;
  return (
    <th scope="rowgroup" class="group margin" rowSpan={span}>
      {name}
    </th>
  );
}

function Row({ row }: { readonly row: RowProps }) {
  const { name, open, page, kind, state, since, remarks } = row;
  return (
    <>
      <th scope="row" class="service">
        <Mark state={state} />
        <span>
          <a class="name" href={open ?? page}>
            {name}
          </a>
          <span class="aside">
            {kind}
            <span class="details">
              ,{' '}
              <a class="alone" href={page} aria-label={`Details of ${name}`}>
                details
              </a>
            </span>
          </span>
        </span>
      </th>
      <td class="state">
        <span class={`word is-${state}`}>{stateText(state)}</span>
        {since && (
          <span class="aside">
            since <When at={since} />
          </span>
        )}
        {remarks.length > 0 && <span class="aside">{remarks.join(', ')}</span>}
      </td>
      <td class="last">{row.last && <Last last={row.last} />}</td>
      <td class="day">
        <Strip strip={row.day} />
      </td>
      <td class="figures">
        <Figures figures={row.figures} />
      </td>
    </>
  );
}

function Last({ last: { at, took, unlike } }: { readonly last: LastProps }) {
  return (
    <>
      <When at={at} />
      <span class="aside">{unlike === null ? `took ${took}` : `${unlike}, took ${took}`}</span>
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
