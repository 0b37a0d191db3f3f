/** Mails read back from a real Exim 4.96, by an independent parser. */
import { simpleParser } from 'mailparser';
import { afterAll, beforeAll, expect, test, vi } from 'vitest';
import { realClock } from '../../src/base/clock-real.ts';
import type { MailChannel } from '../../src/tell/channel.ts';
import { mailSender } from '../../src/tell/mail.ts';
import { needs } from '../support/peers.ts';
import { fourOClock, notice } from '../support/telling.ts';
import { type Exim, eximHindrance, eximProgram, startExim } from './support/exim.ts';

const suite = needs('exim4-daemon-light', eximProgram, eximHindrance);
const instanceId = '2f1c9d3a-5b0e-4d0a-9c57-0f2f6f4f8b11';

suite('a mail through Exim', () => {
  let exim: Exim;
  beforeAll(async () => {
    exim = await startExim();
  });
  afterAll(() => exim[Symbol.asyncDispose]());

  const send = (to: string, message = notice('0d9e6c1e-2a54-4f0b-8a37-6f0a3d2b7c55')) => {
    const smtp = `smtp://127.0.0.1:${exim.port}`;
    const channel: MailChannel = {
      name: 'mail',
      mail: { to: [to], from: 'rollcall@fernhill.home.arpa', smtp },
    };
    const sender = mailSender({ clock: realClock(), instanceId, sayInstant: () => '04:00' });
    return sender(channel, message, new AbortController().signal);
  };

  test('is taken, and comes out as it went in', async () => {
    const message = notice('0d9e6c1e-2a54-4f0b-8a37-6f0a3d2b7c55', {
      outageId: 'order-book.mwvwpqo8',
      data: {
        summary: 'Töpferei is down: “nothing listens”; Shop needs it.',
        service: {
          name: 'Töpferei',
          note: `.\n.a line that begins with a dot\n${'x'.repeat(2_000)}`,
        },
        fallbackFor: 'phone',
      },
    });
    const answer = await send('me@fernhill.home.arpa', message);
    expect(answer).toMatchObject({ status: 250, reception: 'taken' });
    await vi.waitFor(() => expect(exim.mails()).toHaveLength(1), { timeout: 10_000, interval: 50 });
    const [source = ''] = exim.mails();
    // RFC 5322 §2.1.1: no line of more than 998 characters.
    expect(Math.max(...source.split('\n').map(({ length }) => length))).toBeLessThanOrEqual(998);
    const mail = await simpleParser(source);
    expect(mail.subject).toBe(message.data.summary);
    expect(mail.messageId).toBe(`<${message.id}@${instanceId}.rollcall.invalid>`);
    expect(mail.references).toBe(`<order-book.mwvwpqo8@${instanceId}.rollcall.invalid>`);
    expect(mail.from?.value[0]?.address).toBe('rollcall@fernhill.home.arpa');
    expect(mail.date?.getTime()).toBe(fourOClock);
    for (const text of [mail.text, mail.html]) {
      expect(text).toContain('Töpferei is down: “nothing listens”; Shop needs it.');
      expect(text).toContain('.a line that begins with a dot');
      expect(text).toContain('x'.repeat(2_000));
      expect(text).toMatch(/It could not be delivered through (?:"|&quot;)phone(?:"|&quot;)\./);
    }
  });

  test.each([
    ['refused', 550, 'refused', 'no such potter'],
    ['later', 451, 'later', 'come back later'],
  ])('to %s@… is answered %i', async (name, status, reception, said) => {
    const answer = await send(`${name}@fernhill.home.arpa`);
    expect(answer).toMatchObject({ status, reception });
    expect(answer.detail).toContain(said);
  });
});
