/** A storm: what two hundred services need, or are seen through, is gone. One message says so, and one that it is over. */
import { expect, test } from 'vitest';
import { pause } from '../../src/base/clock.ts';
import { silentLog } from '../../src/base/log.ts';
import type { Observation, ServiceCard } from '../../src/base/values.ts';
import type { Notice } from '../../src/record/record.ts';
import type { ChannelChoice } from '../../src/tell/channel.ts';
import { Watch } from '../../src/watch.ts';
import { simulatedClock } from '../support/clock-simulated.ts';
import { memoryRecord } from '../support/record-memory.ts';
import { card, fourOClock } from '../support/telling.ts';

const everyMs = 30_000;
const minuteMs = 60_000;

/** @returns what was told, while the root was down from the tenth to the twentieth minute, and with it all others */
async function stormOver(
  behind: readonly ServiceCard[],
  isSeen: (id: string, isDown: boolean) => boolean,
): Promise<readonly string[]> {
  const clock = simulatedClock({ wallMs: fourOClock, between: 'promises' });
  const heard: Notice[] = [];
  let count = 0;
  const ask = async (id: string): Promise<Observation> => {
    const at = clock.wallMs();
    const minute = (at - fourOClock) / minuteMs;
    // Not all answer equally fast.
    await pause(clock, 5 + (id.length % 7) * 100);
    const isGood = isSeen(id, minute >= 10 && minute < 20);
    const trouble = { layer: 'port', reason: 'refused', detail: 'refused', hint: 'look' } as const;
    return {
      ...{ at, tookUs: 5_000, phases: {}, facts: {} },
      outcome: isGood ? 'answered' : 'failed',
      trouble: isGood ? null : trouble,
    };
  };
  const watch = new Watch<string, ChannelChoice>({
    ...{ clock, ask, log: silentLog, record: memoryRecord(), settleMs: 0, random: () => 0.5 },
    channels: [{ name: 'phone', only: null }],
    newId: () => `id-${++count}`,
    services: [card('root', { everyMs }), ...behind].map((one) => ({
      ...one,
      ...{ card: one, timeoutMs: 1_000, recheckMs: 5_000, confirm: 2, restore: 1 },
      ...{ unanswered: 'down', slowMs: null, slower: {}, minGapMs: 0 },
      ...{ fingerprint: 'settings', probe: one.id },
    })),
    send: async (_channel, notice) => {
      heard.push(notice);
      return { status: 204, reception: 'taken', detail: '', retryAfterMs: null };
    },
  });
  await watch.recall();
  watch.begin();
  await clock.advance(40 * minuteMs);
  const stopping = watch.stop();
  await clock.advance(3_000);
  await stopping;
  return heard.map(({ data }) => data.summary);
}

const twoHundred = Array.from({ length: 200 }, (_, nth) => `service-${nth}`);
const isOver = /^Root is up again after 10 min\.$|^Root is up again after 9 min \d+ s\.$/;

test('two hundred services need it', async () => {
  const behind = twoHundred.map((id) => card(id, { everyMs, needs: ['root'] }));
  const told = await stormOver(behind, (_, isDown) => !isDown);
  expect(told).toEqual([
    'Root is down: refused; Service 0, Service 1, Service 2, Service 3, Service 4 and 195 more need it.',
    expect.stringMatching(isOver),
  ]);
});

test('two hundred services are seen through it', async () => {
  const behind = twoHundred.map((id) => card(id, { everyMs, through: ['root'] }));
  const told = await stormOver(behind, (_, isDown) => !isDown);
  expect(told).toEqual(['Root is down: refused.', expect.stringMatching(isOver)]);
});

test('one of them that does not come back with it is told then', async () => {
  const behind = twoHundred.map((id) => card(id, { everyMs, needs: ['root'] }));
  let isGone = false;
  const told = await stormOver(behind, (id, isDown) => {
    isGone ||= isDown;
    return !(isDown || (isGone && id === 'service-7'));
  });
  expect(told).toEqual([
    expect.stringContaining('Root is down: refused; '),
    expect.stringMatching(isOver),
    'Service 7 is still down now that Root answers again: refused.',
  ]);
});
