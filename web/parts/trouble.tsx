/** One thing that is wrong, set like an entry of a log: when in the margin, then what, where to look, and the way there. */
import type { TroubleProps } from '../props.ts';
import { LinkList } from './link-list.tsx';
import { Mark, stateText } from './mark.tsx';
import { When } from './when.tsx';

export function Trouble({ trouble }: { readonly trouble: TroubleProps }) {
  const { id, name, page, state, since, lasting, outage, open, behind } = trouble;
  return (
    <article class="entry" aria-labelledby={`wrong-${id}`}>
      <p class="margin when">
        {since && <When at={since} />}
        {lasting && <span class="aside">for {lasting}</span>}
      </p>
      <div class="text">
        <h3 id={`wrong-${id}`}>
          <Mark state={state} />
          <a class="plain" href={page}>
            {name}
          </a>{' '}
          <span class={`word is-${state}`}>{stateText(state)}</span>
        </h3>
        <Reason trouble={trouble} />
        {behind.length > 0 && (
          <p>
            Down with it: <LinkList links={behind} />.
          </p>
        )}
        <p class="ways">
          {open && (
            <a class="alone" href={open}>
              Open {name}
            </a>
          )}
          <a class="alone" href={page} aria-label={`Details of ${name}`}>
            Details
          </a>
          {outage && (
            <a class="alone" href={outage} aria-label={`This outage of ${name}`}>
              This outage
            </a>
          )}
        </p>
      </div>
    </article>
  );
}

interface ReasonProps {
  readonly trouble: Pick<TroubleProps, 'layer' | 'what' | 'look' | 'note'>;
}

/** What, where to look, and the owner's own note. */
export function Reason({ trouble: { layer, what, look, note } }: ReasonProps) {
  return (
    <dl class="reason">
      <dt>{layer ?? 'Seen'}</dt>
      <dd>{what}</dd>
      {look && (
        <>
          <dt>Look</dt>
          <dd>{look}</dd>
        </>
      )}
      {note.length > 0 && (
        <>
          <dt>Note</dt>
          <dd>
            <Note lines={note} />
          </dd>
        </>
      )}
    </dl>
  );
}

export function Note({ lines }: { readonly lines: readonly string[] }) {
  return (
    <>
      {lines.map((text) => (
        <span key={text} class="line">
          {text}
        </span>
      ))}
    </>
  );
}
