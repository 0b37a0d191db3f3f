/** In the colophon: in or out. */
import type { OwnerProps } from '../owner-props.ts';

export function OwnerLine({ owner }: { readonly owner: OwnerProps }) {
  return (
    <>
      <p>
        <a href={owner.channels}>Channels</a>
      </p>
      <form class="quiet" method="post" action={owner.signOut.action}>
        <input type="hidden" name="token" value={owner.signOut.token} />
        <button type="submit">Sign out</button>
      </form>
    </>
  );
}
