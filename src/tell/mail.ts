/**
 * One attempt at a mail by SMTP (RFC 5321), by nodemailer: one connection, one message, end. The server is a peer like any
 * other: bounded time, cleaned text. All mails of one outage refer to the same root, so that a mail program shows them as
 * one thread (RFC 5322 §3.6.4); the Message-ID is the notice's own, so that a mail sent twice is known as one.
 */
import type { Clock } from '../base/clock.ts';
import { instantText } from '../base/instants.ts';
import { attemptDetailCharsMax, deliveryMsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Notice } from '../record/record.ts';
import { receptionOfSmtp } from './backoff.ts';
import type { MailChannel } from './channel.ts';
import { eventOf } from './event.ts';
import { type LetterGiven, letterOf } from './letter.ts';
import { networkText } from './receiver-trouble.ts';
import { mailSecretsOf, redacted } from './redact.ts';
import { isShown, mailLines, type Transcript } from './transcript.ts';
import { type Answer, type Send, unanswered } from './webhook.ts';

export interface MailParts {
  readonly clock: Clock;
  /** UUID of the record: the right side of every Message-ID, which no name server knows. */
  readonly instanceId: string;
  readonly sayInstant: LetterGiven['sayInstant'];
}

export function mailSender(parts: MailParts): Send<MailChannel> {
  return async (channel, notice, signal) => {
    /** What the server said, where that is to be shown. */
    const heard: string[] = [];
    // Loaded with the first mail: who has none need not carry it.
    const { createTransport } = await import('nodemailer');
    const transport = createTransport({
      url: channel.mail.smtp,
      // Nothing of a message may make this process read a file or ask an address.
      disableFileAccess: true,
      disableUrlAccess: true,
      connectionTimeout: deliveryMsMax,
      greetingTimeout: deliveryMsMax,
      socketTimeout: deliveryMsMax,
      dnsTimeout: deliveryMsMax,
      ...(isShown(notice) && { logger: listener(heard), transactionLog: true }),
    });
    const limit = deadlineOf(parts.clock, signal);
    const message = messageOf(channel, notice, parts);
    try {
      const sent = transport.sendMail(message);
      // What comes after the end of its time is not waited for, and no defect.
      sent.catch(() => {});
      const answer = answerOf(await Promise.race([sent, limit.over]));
      return isShown(notice)
        ? { ...answer, transcript: transcriptOf(channel, message, heard) }
        : answer;
    } catch (thrown) {
      const refusal = refusalOf(thrown, channel);
      return isShown(notice)
        ? { ...refusal, transcript: transcriptOf(channel, message, heard) }
        : refusal;
    } finally {
      limit.end();
      transport.close();
    }
  };
}

/** Takes down the server's lines. */
function listener(heard: string[]) {
  const debug = (entry: unknown, ...said: readonly unknown[]) => {
    const isServer =
      typeof entry === 'object' && entry !== null && Reflect.get(entry, 'tnx') === 'server';
    if (isServer) heard.push(...said.map(String));
  };
  const silent = () => {};
  return { trace: silent, debug, info: silent, warn: silent, error: silent, fatal: silent };
}

function transcriptOf(
  channel: MailChannel,
  { from, to, subject, text }: ReturnType<typeof messageOf>,
  heard: readonly string[],
): Transcript {
  const { protocol, host } = new URL(channel.mail.smtp);
  const asked = [
    `${protocol}//${host}`,
    `from: ${from}`,
    `to: ${to.join(', ')}`,
    `subject: ${subject}`,
    '',
    ...text.split('\n'),
  ];
  const lines = heard.flatMap((said) => said.split(/\r?\n/));
  return { asked: mailLines(channel, asked), answered: mailLines(channel, lines) };
}

function messageOf(channel: MailChannel, notice: Notice, parts: MailParts) {
  const event = eventOf(notice, parts.instanceId);
  const letter = letterOf(event, { sayInstant: parts.sayInstant });
  const domain = `${parts.instanceId}.rollcall.invalid`;
  const root = notice.outageId ?? (notice.serviceId ? `service.${notice.serviceId}` : null);
  const thread = root === null ? {} : threadOf(`<${root}@${domain}>`);
  return {
    from: channel.mail.from,
    to: [...channel.mail.to],
    messageId: `<${notice.id}@${domain}>`,
    ...thread,
    date: instantText(notice.at),
    subject: letter.subject,
    text: letter.text,
    html: letter.html,
    // RFC 3834: no holiday greeting comes back.
    headers: { 'Auto-Submitted': 'auto-generated' },
  };
}

function threadOf(root: string) {
  return { inReplyTo: root, references: [root] };
}

function answerOf(sent: { readonly response: string } | 'over'): Answer {
  if (sent === 'over') {
    return unanswered(`the mail server did not take the message within ${deliveryMsMax / 1_000} s`);
  }
  const code = Number(sent.response.slice(0, 3));
  return {
    status: Number.isInteger(code) ? code : null,
    reception: 'taken',
    detail: `the mail server replied ${cleanText(sent.response, attemptDetailCharsMax)}`,
    retryAfterMs: null,
  };
}

/** Never the error's own message whole: it may quote the address with its password. */
function refusalOf(thrown: unknown, channel: MailChannel): Answer {
  const { responseCode, response, code, originalCode } = partsOf(thrown);
  const where = hostOf(channel);
  if (responseCode === null) {
    const what =
      networkText(originalCode, where) ??
      sentences.get(code ?? '')?.(where) ??
      `the mail to ${where} failed (${cleanText(code ?? 'no code', 60)})`;
    return unanswered(what);
  }
  const said = cleanText(redacted(response ?? '', mailSecretsOf(channel)), attemptDetailCharsMax);
  return {
    status: responseCode,
    reception: receptionOfSmtp(responseCode),
    detail: `the mail server ${where} replied ${said === '' ? responseCode : said}`,
    retryAfterMs: null,
  };
}

/** Codes of nodemailer; where it has one of the system or of TLS, that says more. */
const sentences = new Map<string, (where: string) => string>(
  Object.entries({
    EDNS: (where: string) => `the name in ${where} has no address`,
    ECONNECTION: (where: string) => `${where} cut the connection`,
    ETIMEDOUT: (where: string) => `${where} did not answer in time`,
    ESOCKET: (where: string) => `the connection to ${where} failed`,
    ETLS: (where: string) => `${where} cannot be spoken to over TLS`,
    EAUTH: (where: string) => `${where} does not accept the sign-in`,
    EPROTOCOL: (where: string) => `${where} does not answer in SMTP`,
    EENVELOPE: (where: string) => `${where} cannot be given this message: check the addresses`,
  }),
);

function partsOf(thrown: unknown) {
  const error =
    typeof thrown === 'object' && thrown !== null ? (thrown as Record<string, unknown>) : {};
  const { responseCode, response, code, originalCode } = error;
  return {
    responseCode: typeof responseCode === 'number' ? responseCode : null,
    response: typeof response === 'string' ? response : null,
    code: typeof code === 'string' ? code : null,
    originalCode: typeof originalCode === 'string' ? originalCode : null,
  };
}

function hostOf(channel: MailChannel): string {
  const { host } = new URL(channel.mail.smtp);
  return host;
}

interface Deadline {
  readonly over: Promise<'over'>;
  end(): void;
}

function deadlineOf(clock: Clock, outer: AbortSignal): Deadline {
  let end = () => {};
  const over = new Promise<'over'>((resolve) => {
    const stop = () => resolve('over');
    const alarm = clock.after(deliveryMsMax, stop);
    outer.addEventListener('abort', stop);
    if (outer.aborted) stop();
    end = () => {
      alarm.cancel();
      outer.removeEventListener('abort', stop);
    };
  });
  return { over, end };
}
