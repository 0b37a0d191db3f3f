/** The last answer, what the service said of itself in it, and when it last said something else. */
import type { ServicePageProps } from '../props-service.ts';
import { Entry } from './entry.tsx';
import { When } from './when.tsx';

type FactsGiven = Pick<ServicePageProps, 'last' | 'facts' | 'changes'>;

export function Facts({ last, facts, changes }: FactsGiven) {
  if (!last) return null;
  return (
    <Entry id="last" heading="Last answer">
      <p>
        <When at={last.at} />: {last.unlike ?? 'answered'}, took {last.took}.
        {facts.length > 0 && ' What it said of itself:'}
      </p>
      {facts.length > 0 && (
        <dl class="ruled pairs">
          {facts.map(({ word, value }) => (
            <div key={word}>
              <dt>{word}</dt>
              <dd dir="auto">{value}</dd>
            </div>
          ))}
        </dl>
      )}
      {changes.length > 0 && <Changes changes={changes} />}
    </Entry>
  );
}

function Changes({ changes }: Pick<FactsGiven, 'changes'>) {
  return (
    <>
      <p>When that changed:</p>
      <ol class="ruled">
        {changes.map(({ at, word, before, after }) => (
          <li key={`${at.iso} ${word}`}>
            <When at={at} /> <em>{word}</em> {before === null ? 'first told' : <del>{before}</del>}
            {after === null ? (
              ', no longer told'
            ) : (
              <>
                : <ins>{after}</ins>
              </>
            )}
          </li>
        ))}
      </ol>
    </>
  );
}
