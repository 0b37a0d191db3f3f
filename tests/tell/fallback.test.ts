/** Where a channel does not take its messages, another gets them as well: once each, and the first keeps trying. */
import { expect, test } from 'vitest';
import { diverted } from '../../src/tell/fallback.ts';
import type { Answer } from '../../src/tell/webhook.ts';
import { add, type Behaviour, bad, good, setting } from '../support/outbox.ts';
import { fourOClock, notice } from '../support/telling.ts';

const minute = 60_000;
const gone: Answer = { status: 410, reception: 'refused', detail: 'gone', retryAfterMs: null };

const chain = {
  channels: [
    { name: 'phone', fallback: 'chat' },
    { name: 'chat', fallback: 'mail' },
    { name: 'mail' },
  ],
};

const broken = (behaviours: { readonly [channel: string]: Answer }): Behaviour => {
  return (_, channel) => behaviours[channel] ?? good;
};

/** Of what was sent elsewhere than on the phone. */
const elsewhere = (sent: readonly string[]) => sent.filter((line) => !/ phone /.test(line));

test('after five minutes in vain all that is due goes to the fallback, which says for whom', async () => {
  const said: unknown[] = [];
  const { clock, record, sent, start, put } = setting((notice, channel) => {
    if (channel === 'phone') return bad;
    said.push(notice.data['fallbackFor']);
    return good;
  }, chain);
  await put(add('down'), add('up', { type: 'rollcall.service.up' }));
  await put(add('later', { outageId: 'shop.1', notBefore: fourOClock + 30 * minute }));
  const delivery = start();
  await clock.advance(5 * minute - 1);
  expect(elsewhere(sent)).toEqual([]);
  await clock.advance(1);
  expect(elsewhere(sent)).toEqual(['300 chat down', '300 chat up']);
  expect(said).toEqual(['phone', 'phone']);
  await clock.advance(60 * minute);
  // What fell due since then is not kept waiting, and nothing comes twice.
  expect(elsewhere(sent)).toEqual(['300 chat down', '300 chat up', '1800 chat later']);
  expect(await record.delivery('down', 'phone')).toMatchObject({ state: 'waiting' });
  await delivery.stop();
});

test('once the channel takes messages again, the fallback is left alone', async () => {
  let isWell = false;
  const { clock, sent, start, put } = setting(
    (_, channel) => (channel === 'phone' && !isWell ? bad : good),
    chain,
  );
  await put(add('down'));
  const delivery = start();
  await clock.advance(6 * minute);
  isWell = true;
  await clock.advance(60 * minute);
  await put(add('other', { outageId: 'shop.1' }));
  delivery.wake();
  await clock.advance(60 * minute);
  expect(elsewhere(sent)).toEqual(['300 chat down']);
  expect(sent.at(-1)).toMatch(/phone other$/);
  await delivery.stop();
});

test('what is given up goes to the fallback at once, also after a restart', async () => {
  const { clock, record, sent, start, put } = setting(broken({ phone: gone }), chain);
  await put(add('down'));
  // As if the daemon had been killed between the refusal and the next step.
  await record.attempted({
    noticeId: 'down',
    channel: 'phone',
    at: fourOClock,
    tookMs: 1,
    status: 410,
    detail: 'gone',
    next: { state: 'dead' },
  });
  const delivery = start();
  await clock.advance(0);
  expect(sent).toEqual(['0 chat down']);
  await put(add('other', { outageId: 'shop.1' }));
  delivery.wake();
  await clock.advance(1_000);
  expect(sent).toEqual(['0 chat down', '0 phone other', '0 chat other']);
  await delivery.stop();
});

test('the fallback of a fallback follows', async () => {
  const { clock, record, sent, start, put } = setting(broken({ phone: gone, chat: bad }), chain);
  await put(add('down'));
  const delivery = start();
  await clock.advance(10 * minute);
  expect(sent.filter((line) => / mail /.test(line))).toEqual(['300 mail down']);
  expect(await record.delivery('down', 'mail')).toMatchObject({ fallbackFor: 'chat' });
  await delivery.stop();
});

test('what was sent on is not sent on again', () => {
  const report = (channels: readonly string[]) => ({
    notice: notice('down', { channels }),
    channel: 'phone',
    state: 'dead' as const,
    attempts: [],
    foldedInto: null,
    fallbackFor: null,
  });
  const way = { name: 'phone', fallback: 'chat', now: fourOClock, quiet: [] };
  expect(diverted([report(['phone'])], way).edits).toHaveLength(1);
  expect(diverted([report(['phone', 'chat'])], way).edits).toEqual([]);
});

test('a channel that carries the notice anyway is not told twice', async () => {
  const { clock, sent, start, put } = setting(broken({ phone: bad }), chain);
  await put(add('down', { channels: ['phone', 'chat'] }));
  const delivery = start();
  await clock.advance(30 * minute);
  expect(elsewhere(sent)).toEqual(['0 chat down']);
  await delivery.stop();
});

test('what waits for the end of quiet hours is not sent on', async () => {
  const ways = {
    zone: 'UTC',
    urgentIds: ['nas'],
    sayInstant: String,
    newId: () => 'sum',
  };
  const quiet = { from: 22 * 60, to: 7 * 60 };
  const channels = [{ name: 'phone', fallback: 'chat', quiet }, { name: 'chat' }];
  const { clock, sent, start, put } = setting(broken({ phone: bad }), { channels, ways });
  await put(add('down'), add('urgent', { serviceId: 'nas', outageId: 'nas.1' }));
  const delivery = start();
  await clock.advance(60 * minute);
  expect(elsewhere(sent)).toEqual(['300 chat urgent']);
  await delivery.stop();
});
