/** One thing that is wrong, set like an entry of a log: when in the margin, then what, where to look, and the way there. */
import type { TroubleProps } from '../props.ts';
import { LinkList } from './link-list.tsx';
import { Mark, Word } from './mark.tsx';
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
          <a class="plain" href={page} dir="auto">
            {name}
          </a>{' '}
          <Word state={state} />
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
    <>
      <p>
        {layer && <em class="layer">{layer}. </em>}
        {what} {look}
      </p>
      {note.length > 0 && <Note lines={note} />}
    </>
  );
}

/** In the owner's own words, line by line. */
export function Note({ lines }: { readonly lines: readonly string[] }) {
  return (
    <blockquote class="note">
      {lines.map((text) => (
        <p key={text} dir="auto">
          {text}
        </p>
      ))}
    </blockquote>
  );
}
