/** There is no such page, or it could not be made. */
import { Frame } from '../parts/frame.tsx';
import type { MissingPageProps } from '../props.ts';

export function MissingPage({ frame, title, what }: MissingPageProps) {
  return (
    <Frame frame={frame}>
      <div class="lede">
        <h1>{title}</h1>
        <p>{what}</p>
        <p>
          <a href={frame.home}>To the roll</a>
        </p>
      </div>
    </Frame>
  );
}
