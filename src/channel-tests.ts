/** Sends a test notice through channels themselves, past the record: it is no message about anything. */
import type { Clock } from './base/clock.ts';
import { cleanText } from './base/text.ts';
import { testNotice } from './tell/test-notice.ts';
import type { Transcript } from './tell/transcript.ts';
import type { Send } from './tell/webhook.ts';

export interface ChannelTested extends Transcript {
  readonly channel: string;
  readonly delivered: boolean;
  /** What the other side or the network said, in one line. */
  readonly detail: string;
  readonly tookMs: number;
}

export interface ChannelTests<Channel> {
  readonly channels: readonly Channel[];
  readonly send: Send<Channel>;
  readonly clock: Clock;
  /** Takes secrets out of a text. */
  readonly mask: (text: string) => string;
  readonly newId: () => string;
  /** Aborted when it is not to be waited for any more. */
  readonly signal: AbortSignal;
}

/** One after the other; `name` null: all of them. */
export async function testChannels<Channel extends { readonly name: string }>(
  given: ChannelTests<Channel>,
  name: string | null,
): Promise<readonly ChannelTested[] | { readonly complaint: string }> {
  const named = given.channels.filter((channel) => name === null || channel.name === name);
  if (named.length === 0) return { complaint: complaintOf(given.channels, name) };
  const tested: ChannelTested[] = [];
  for (const channel of named) tested.push(await testOne(given, channel));
  return tested;
}

async function testOne<Channel extends { readonly name: string }>(
  { send, clock, mask, newId, signal }: ChannelTests<Channel>,
  channel: Channel,
): Promise<ChannelTested> {
  const notice = testNotice({ id: newId(), at: clock.wallMs(), channel: channel.name });
  const beganMs = clock.monotonicMs();
  const { reception, detail, transcript } = await send(channel, notice, signal);
  return {
    channel: channel.name,
    delivered: reception === 'taken',
    detail: mask(detail),
    tookMs: Math.round(clock.monotonicMs() - beganMs),
    asked: (transcript?.asked ?? []).map(mask),
    answered: (transcript?.answered ?? []).map(mask),
  };
}

function complaintOf(channels: readonly { readonly name: string }[], name: string | null): string {
  const names = channels.map((channel) => cleanText(channel.name, 80)).join(', ');
  if (names === '') return 'no channel is configured: `tell:` is empty';
  return `no channel \`${cleanText(name ?? '', 80)}\`; there are ${names}`;
}
