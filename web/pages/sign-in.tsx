/** The way in: one field. */

import type { SignInPageProps } from '../owner-props.ts';
import { Bare } from '../parts/bare.tsx';

export function SignInPage({ icon, styleHref, action, to, onwards, wrong }: SignInPageProps) {
  return (
    <Bare title="Sign in" icon={icon} styleHref={styleHref}>
      <div class="lede">
        <h1>Sign in</h1>
        {wrong && (
          <p class="wrong" role="alert">
            {wrong}
          </p>
        )}
        <form class="form" method="post" action={action}>
          <input type="hidden" name="to" value={to} />
          <label for="passphrase">Passphrase</label>
          <input
            id="passphrase"
            name="passphrase"
            type="password"
            autocomplete="current-password"
            required
          />
          <button type="submit">Sign in</button>
        </form>
        <p class="aside">
          If you came by a link from elsewhere and are signed in here already,{' '}
          <a href={onwards}>go on</a>.
        </p>
      </div>
    </Bare>
  );
}
