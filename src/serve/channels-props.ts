/** The page of the channels: what each last did, what came of its last test, and the form that tests it. */
import type { ChannelProps, ChannelsPageProps } from '../../web/owner-props.ts';
import { nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { ChannelState } from '../tell/state.ts';
import type { Tests } from './acts.ts';
import type { Board } from './board.ts';
import { testForm } from './links.ts';
import { sentence } from './trouble-props.ts';
import type { Viewer } from './viewer.ts';
import { sayCount } from './zone.ts';

export function channelsProps(
  board: Board,
  tests: Tests,
  viewer: Viewer,
): Omit<ChannelsPageProps, 'frame'> {
  const now = board.clock.wallMs();
  return {
    now: board.zone.whole(now),
    channels: board.telling().channels.map((channel) => ({
      ...channelProps(board, channel, now),
      tested: testedProps(board, tests, channel.name),
      test:
        viewer.kind === 'owner' && board.acts
          ? { action: testForm(board), token: viewer.formToken() }
          : null,
    })),
  };
}

function channelProps(
  board: Board,
  { name, lastDeliveredAt, lastFailure, waitingCount }: ChannelState,
  now: number,
): Omit<ChannelProps, 'tested' | 'test'> {
  const at = (instant: number) => board.zone.exact(instant, now).text;
  return {
    name: cleanText(name, nameCharsMax),
    value: name,
    remarks: [
      lastDeliveredAt === null
        ? 'Nothing was delivered since the start.'
        : `Last delivered at ${at(lastDeliveredAt)}.`,
      ...(lastFailure === null
        ? []
        : [`Last failed at ${at(lastFailure.at)}: ${sentence(cleanText(lastFailure.detail))}`]),
      ...(waitingCount === 0
        ? []
        : [`${sayCount(waitingCount, 'notice waits', 'notices wait')} for another try.`]),
    ],
  };
}

function testedProps(board: Board, tests: Tests, name: string): ChannelProps['tested'] {
  const said = tests.of(name);
  if (!said) return null;
  const outcome = said.delivered
    ? 'The test notice was delivered'
    : 'The test notice did not arrive';
  return {
    at: board.zone.exact(said.at, board.clock.wallMs()),
    what: `${outcome}: ${sentence(cleanText(said.detail))}`,
    isGood: said.delivered,
  };
}
