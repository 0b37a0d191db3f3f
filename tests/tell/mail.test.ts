/** One attempt at a mail, read back from a real server by an independent parser. */
import { expect, test } from 'vitest';
import type { Clock } from '../../src/base/clock.ts';
import { realClock } from '../../src/base/clock-real.ts';
import { instantText } from '../../src/base/instants.ts';
import { deliveryMsMax } from '../../src/base/limits.ts';
import type { Notice } from '../../src/record/record.ts';
import type { MailChannel } from '../../src/tell/channel.ts';
import { mailSender } from '../../src/tell/mail.ts';
import { selfSigned } from '../support/certificates.ts';
import { mailServer } from '../support/mail-server.ts';
import { closedPort, peer } from '../support/peer.ts';
import { fourOClock, notice } from '../support/telling.ts';

const instanceId = '2f1c9d3a-5b0e-4d0a-9c57-0f2f6f4f8b11';
const never = new AbortController().signal;

function channel(port: number, account = ''): MailChannel {
  return {
    name: 'mail',
    mail: {
      to: ['me@fernhill.home.arpa', 'you@fernhill.home.arpa'],
      from: 'rollcall@fernhill.home.arpa',
      smtp: `smtp://${account}127.0.0.1:${port}`,
    },
  };
}

function send(to: MailChannel, message: Notice, clock: Clock = realClock(), signal = never) {
  const sender = mailSender({
    clock,
    instanceId,
    sayInstant: (at) => `at ${instantText(at)}`,
  });
  return sender(to, message, signal);
}

const down = notice('0d9e6c1e-2a54-4f0b-8a37-6f0a3d2b7c55', {
  outageId: 'order-book.1795579200000',
  data: {
    summary: 'Order book is down: nothing listens on 192.0.2.7:5432; Shop needs it.',
    service: {
      id: 'order-book',
      name: 'Order book',
      open: 'https://orders.fernhill.home.arpa/?a=1&b=2',
      note: 'Container "orders-db".\n<b>Restart</b> it.',
    },
    since: instantText(fourOClock),
    observation: { layer: 'port', detail: 'nothing listens', hint: 'Is the service started?' },
    outage: { lastGoodAt: instantText(fourOClock - 30_000), restoredAt: null },
    link: 'https://board.fernhill.home.arpa/outages/order-book.1795579200000',
  },
});

test('says what is down, since when, why, where to look, and what the owner noted', async () => {
  await using server = await mailServer();
  const answer = await send(channel(server.port), down);
  expect(answer).toMatchObject({ status: 250, reception: 'taken' });

  const [mail = expect.fail('no mail came')] = server.mails;
  expect(mail.subject).toBe(down.data.summary);
  expect(mail.from?.value[0]?.address).toBe('rollcall@fernhill.home.arpa');
  expect([mail.to].flat()[0]?.text).toBe('me@fernhill.home.arpa, you@fernhill.home.arpa');
  expect(mail.date?.getTime()).toBe(Math.floor(down.at / 1_000) * 1_000);
  expect(mail.headers.get('auto-submitted')).toBe('auto-generated');
  for (const part of [
    down.data.summary,
    'Since: at 2026-11-25T04:00:00.000Z',
    'Last good answer: at 2026-11-25T03:59:30.000Z',
    'Where to look: Is the service started?',
    '<b>Restart</b> it.',
    'Open it: https://orders.fernhill.home.arpa/?a=1&b=2',
    'On the board: https://board.fernhill.home.arpa/outages/order-book.1795579200000',
  ]) {
    expect(mail.text).toContain(part);
  }
  expect(mail.html).toContain('&lt;b&gt;Restart&lt;/b&gt;');
  expect(mail.html).toContain('<a href="https://orders.fernhill.home.arpa/?a=1&amp;b=2">');
  expect(mail.text).not.toContain('Restored');
});

test('an address that a peer speaks of is no link, and a name of two lines no header', async () => {
  await using server = await mailServer();
  const detail = 'see https://a.example/ <a href="https://b.example/">here</a>';
  const summary = `Kiln\r\nBcc: you@fernhill.home.arpa\r\nis down: ${detail}.`;
  await send(channel(server.port), { ...down, data: { summary, observation: { detail } } });
  const [mail = expect.fail('no mail came')] = server.mails;
  expect(mail.html).toContain('https://a.example/ &lt;a href=');
  expect(mail.html).not.toContain('<a ');
  expect(mail.subject).toBe(`Kiln Bcc: you@fernhill.home.arpa is down: ${detail}.`);
  expect(mail.bcc).toBeUndefined();
});

test('mails of one outage are one thread, and a mail sent twice has one id', async () => {
  await using server = await mailServer();
  const up = notice('0d9e6c1e-2a54-4f0b-8a37-000000000002', {
    outageId: down.outageId,
    data: { summary: 'Order book is up again after 14 min.' },
  });
  for (const message of [down, down, up]) await send(channel(server.port), message);
  const ids = server.mails.map(({ messageId }) => messageId);
  expect(ids[0]).toBe(`<${down.id}@${instanceId}.rollcall.invalid>`);
  expect(ids[1]).toBe(ids[0]);
  expect(ids[2]).not.toBe(ids[0]);
  expect(new Set(server.mails.map(({ references }) => [references].flat()[0])).size).toBe(1);
  expect(server.mails[0]?.inReplyTo).toBe(`<${down.outageId}@${instanceId}.rollcall.invalid>`);
});

test('signs in, and gives neither name nor password away when that is refused', async () => {
  await using server = await mailServer({
    authOptional: false,
    onAuth: ({ username, password }, _session, done) => {
      if (password === 'kiln-and-clay') return done(null, { user: username ?? '' });
      done(new Error(`no: ${username} ${password}`));
    },
  });
  const good = await send(channel(server.port, 'fernhill:kiln-and-clay@'), down);
  expect(good.reception).toBe('taken');
  const bad = await send(channel(server.port, 'fernhill:glaze-and-fire@'), down);
  expect(bad).toMatchObject({ status: 535, reception: 'refused' });
  expect(bad.detail).not.toContain('glaze-and-fire');
  expect(bad.detail).not.toContain('fernhill');
});

test.each([
  [550, 'refused'],
  [451, 'later'],
] as const)('a receiver that replies %i has it %s', async (responseCode, reception) => {
  await using server = await mailServer({
    onRcptTo: (_address, _session, done) =>
      done(Object.assign(new Error('not this one'), { responseCode })),
  });
  const answer = await send(channel(server.port), down);
  expect(answer).toMatchObject({ status: responseCode, reception });
  expect(answer.detail).toContain('not this one');
});

test('a port where nothing listens is named, and tried again later', async () => {
  const port = await closedPort();
  const answer = await send(channel(port), down);
  expect(answer).toMatchObject({ status: null, reception: 'later' });
  expect(answer.detail).toBe(`nothing listens on 127.0.0.1:${port}`);
});

test('a certificate that nobody here trusts is said to be that', async () => {
  await using server = await mailServer({ secure: true, ...selfSigned('IP:127.0.0.1') });
  const { mail } = channel(server.port);
  const smtp = mail.smtp.replace('smtp:', 'smtps:');
  const answer = await send({ name: 'mail', mail: { ...mail, smtp } }, down);
  expect(answer).toMatchObject({ status: null, reception: 'later' });
  expect(answer.detail).toMatch(
    /^the certificate of 127\.0\.0\.1:\d+ is not signed by an authority/,
  );
});

test('a server that does not speak SMTP, or that hangs up, is no delivery', async () => {
  await using web = await peer((socket) => void socket.end('HTTP/1.1 400 Bad Request\r\n\r\n'));
  expect((await send(channel(web.port), down)).reception).not.toBe('taken');
  await using gone = await peer((socket) => void socket.destroy());
  expect((await send(channel(gone.port), down)).reception).toBe('later');
});

test('a server that says nothing is left when the time is over', async () => {
  let ring: (() => void) | null = null;
  const clock: Clock = {
    ...realClock(),
    after: (delayMs, then) => {
      expect(delayMs).toBe(deliveryMsMax);
      ring = then;
      return { cancel: () => {} };
    },
  };
  await using silent = await peer(() => ring?.());
  const answer = await send(channel(silent.port), down, clock);
  expect(answer).toMatchObject({ status: null, reception: 'later' });
  expect(answer.detail).toContain('within 10 s');
});
