/**
 * `rollcall notice test`: a test notice through one channel or all, and what the other side said. The running daemon
 * sends it, where one runs; else it is sent as the configuration says.
 */
import { randomUUID } from 'node:crypto';
import * as z from 'zod';
import { realClock } from '../base/clock-real.ts';
import { RollcallError } from '../base/errors.ts';
import { type ChannelTested, testChannels } from '../channel-tests.ts';
import { secretMasker } from '../config/mask.ts';
import { zoneOf } from '../serve/zone.ts';
import { channelSender } from '../tell/send.ts';
import { askDaemon } from './daemon-client.ts';
import { exit } from './place.ts';
import { configuredWithout } from './without-daemon.ts';

interface NoticeTestGiven {
  /** Name of a channel; null: all. */
  readonly channel: string | null;
  readonly config: string | undefined;
  readonly folder: string;
}

export async function noticeTest(given: NoticeTestGiven): Promise<void> {
  const tested = (await throughDaemon(given)) ?? (await directly(given));
  process.stdout.write(tested.map(testedText).join('\n'));
  if (tested.some(({ delivered }) => !delivered)) exit(1);
}

const lines = z.array(z.string());
const answered = z.object({
  tested: z.array(
    z.object({
      channel: z.string(),
      delivered: z.boolean(),
      detail: z.string(),
      tookMs: z.number(),
      asked: lines,
      answered: lines,
    }),
  ),
});

async function throughDaemon(given: NoticeTestGiven): Promise<readonly ChannelTested[] | null> {
  const { folder, channel } = given;
  const answer = await askDaemon(folder, 'POST', '/notice/test', { channel });
  if (answer === null) return null;
  if (answer.status !== 200) {
    throw new RollcallError('daemon-absent', 'the daemon could not send a test');
  }
  process.stderr.write(`By the daemon that runs on ${folder}.\n`);
  return answered.parse(answer.body).tested;
}

async function directly(given: NoticeTestGiven): Promise<readonly ChannelTested[]> {
  const { folder } = given;
  const { config, secrets } = configuredWithout(given);
  process.stderr.write(`No daemon runs on ${folder}; sending directly.\n`);
  const clock = realClock();
  const zone = zoneOf(config.board.timezone);
  const tested = await testChannels(
    {
      channels: config.tell,
      send: channelSender({
        clock,
        // It has no record: a test is not told apart from another by who sent it.
        instanceId: randomUUID(),
        sayInstant: (at) => zone.whole(at).text,
        address: config.board.address,
      }),
      clock,
      mask: secretMasker(secrets),
      newId: randomUUID,
      signal: new AbortController().signal,
    },
    given.channel,
  );
  if ('complaint' in tested) throw new RollcallError('usage', tested.complaint);
  return tested;
}

function testedText({ channel, delivered, detail, tookMs, ...said }: ChannelTested): string {
  const asked = said.asked.map((line) => `  > ${line}`.trimEnd());
  const answered = said.answered.map((line) => `  < ${line}`.trimEnd());
  const fate = delivered ? 'delivered' : 'not delivered';
  return `${[`${channel}: ${fate} in ${tookMs} ms: ${detail}`, ...asked, ...answered].join('\n')}\n`;
}
