/** Outages one beneath the other: when, how long, why. */
import type { OutageRowProps } from '../props-service.ts';
import { Named } from './named.tsx';
import { When } from './when.tsx';

export function OutageList({ outages }: { readonly outages: readonly OutageRowProps[] }) {
  return (
    <ol class="ruled outages">
      {outages.map(({ page, began, lasted, over, layer, what, cause }) => (
        <li key={page}>
          <a class="alone" href={page}>
            <When at={began} />
          </a>{' '}
          <span>{over ? lasted : `${lasted} so far`}</span>{' '}
          <span class="what">
            {cause && (
              <>
                Behind <Named service={cause} />.{' '}
              </>
            )}
            <em class="layer">{layer}. </em>
            {what}
          </span>
        </li>
      ))}
    </ol>
  );
}
