/** Who is told, and whether that works. */

import type { ChannelProps, ChannelsPageProps } from '../owner-props.ts';
import { TestForm } from '../parts/acts.tsx';
import { Entry } from '../parts/entry.tsx';
import { Frame } from '../parts/frame.tsx';
import { Lede } from '../parts/lede.tsx';
import { When } from '../parts/when.tsx';

export function ChannelsPage({ frame, now, channels }: ChannelsPageProps) {
  const sentence =
    channels.length === 0 ? 'Nobody is told: no channel is configured.' : 'Who is told.';
  return (
    <Frame frame={frame}>
      <Lede now={now} sentence={sentence} />
      {channels.map((channel, place) => (
        <Channel key={channel.name} channel={channel} id={`channel-${place}`} />
      ))}
    </Frame>
  );
}

function Channel({ channel, id }: { readonly channel: ChannelProps; readonly id: string }) {
  const { name, value, remarks, tested, test } = channel;
  return (
    <Entry id={id} heading={name}>
      <p>{remarks.join(' ')}</p>
      {tested && (
        <p role="status">
          <When at={tested.at} /> {tested.what}
        </p>
      )}
      {test && <TestForm form={test} channel={value} name={name} />}
    </Entry>
  );
}
