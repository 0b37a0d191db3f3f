/** For everybody in the house: what works and what does not. */
import type { HouseholdGroupProps, HouseholdPageProps } from '../household-props.ts';
import { stateText } from '../parts/mark.tsx';
import { Sign } from '../parts/sign.tsx';
import { When } from '../parts/when.tsx';

export function HouseholdPage({
  boardTitle,
  title,
  icon,
  now,
  sentence,
  groups,
}: HouseholdPageProps) {
  return (
    <html lang="en">
      <head>
        <meta charset="utf-8" />
        <meta name="viewport" content="width=device-width, initial-scale=1" />
        <meta name="color-scheme" content="light dark" />
        <title>{title}</title>
        <link rel="icon" type="image/svg+xml" href={icon} />
        {/* Filled in by the server. */}
        <style />
      </head>
      <body>
        <header class="masthead">
          <p class="home">{boardTitle}</p>
        </header>
        <main>
          <div class="lede">
            <p class="date">
              <When at={now} />
            </p>
            <h1>{sentence}</h1>
          </div>
          {groups.map((group) => (
            <Group key={group.name} group={group} />
          ))}
        </main>
      </body>
    </html>
  );
}

function Group({ group }: { readonly group: HouseholdGroupProps }) {
  return (
    <section class="entry">
      {group.name === null ? <div class="margin" /> : <h2 class="margin">{group.name}</h2>}
      <ul class="text signs">
        {group.services.map(({ name, state, planned }, place) => (
          <li key={place}>
            <Sign state={state} />
            <span>
              <bdi>{name}</bdi> <span class={`word is-${state}`}>{stateText(state)}</span>
              {planned && ' (planned)'}
            </span>
          </li>
        ))}
      </ul>
    </section>
  );
}
