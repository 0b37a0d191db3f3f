/** What could not be served to somebody who is not signed in. */

import type { RefusedPageProps } from '../owner-props.ts';
import { Bare } from '../parts/bare.tsx';

export function RefusedPage({ icon, styleHref, title, what, signIn }: RefusedPageProps) {
  return (
    <Bare title={title} icon={icon} styleHref={styleHref}>
      <div class="lede">
        <h1>{title}</h1>
        <p>{what}</p>
        <p>
          <a href={signIn}>Sign in</a>
        </p>
      </div>
    </Bare>
  );
}
