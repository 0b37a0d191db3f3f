/** Rollcall about itself: what is wrong with it, what it could not tell anybody, how it is otherwise. */
import { Entry } from '../parts/entry.tsx';
import { FigureList } from '../parts/figures.tsx';
import { Frame } from '../parts/frame.tsx';
import { Lede } from '../parts/lede.tsx';
import { When } from '../parts/when.tsx';
import type { AboutPageProps, DeadLetterProps } from '../props.ts';

export function AboutPage(props: AboutPageProps) {
  const { frame, now, sentence, troubles, deadLetters, figures, channels } = props;
  return (
    <Frame frame={frame}>
      <Lede now={now} sentence={sentence} />
      {troubles.length > 0 && (
        <Entry id="wrong" heading="What is wrong">
          {troubles.map((text) => (
            <p key={text}>{text}</p>
          ))}
        </Entry>
      )}
      {deadLetters.length > 0 && <Undelivered letters={deadLetters} />}
      <Entry id="daemon" heading="How it is">
        <FigureList figures={figures} />
      </Entry>
      <Entry id="channels" heading="Who is told">
        <p>
          {channels.sentence} {channels.more && <a href={channels.more}>Channels</a>}
        </p>
      </Entry>
    </Frame>
  );
}

function Undelivered({ letters }: { readonly letters: readonly DeadLetterProps[] }) {
  return (
    <Entry id="undelivered" heading="What could not be told">
      <ul class="ruled">
        {letters.map(({ at, summary, channel, said }) => (
          <li key={`${at.iso} ${channel} ${summary}`}>
            <When at={at} /> to “<bdi>{channel}</bdi>”: {summary}
            {said && <span class="aside">The last try ended with: {said}</span>}
          </li>
        ))}
      </ul>
    </Entry>
  );
}
