/** What was said in one attempt, for somebody who tests a channel: bounded, cleaned, and without the channel's secrets. */
import { cleanText } from '../base/text.ts';
import type { Notice } from '../record/record.ts';
import type { MailChannel, WebhookChannel } from './channel.ts';
import { mailSecretsOf, redacted, secretsOf } from './redact.ts';

export interface Transcript {
  /** Lines of what was sent. */
  readonly asked: readonly string[];
  /** Lines of what came back; empty: nothing did. */
  readonly answered: readonly string[];
}

/** Only a test is looked at so closely: everything else leaves a detail of one line. */
export function isShown({ type }: Pick<Notice, 'type'>): boolean {
  return type === 'rollcall.test';
}

const lineCharsMax = 300;
const linesCountMax = 12;

/** The owner's own headers are there, their values are not: any may be a secret. */
export function requestLines(
  channel: WebhookChannel,
  request: {
    readonly url: URL;
    readonly headers: Readonly<Record<string, string>>;
    readonly body: string;
  },
): readonly string[] {
  const { url, headers, body } = request;
  const own = new Set(Object.keys(channel.headers ?? {}).map((name) => name.toLowerCase()));
  const isOurs = (name: string) => !own.has(name) || name === 'content-type';
  const lines = [
    `${channel.method} ${url.origin}/…`,
    ...Object.entries(headers).map(([name, value]) => `${name}: ${isOurs(name) ? value : '…'}`),
    '',
    ...body.split('\n'),
  ];
  return bounded(lines, secretsOf(channel));
}

export function answerLines(
  channel: WebhookChannel,
  { status, type, said }: { readonly status: number; readonly type: string; readonly said: string },
): readonly string[] {
  const head = [`HTTP ${status}`, ...(type === '' ? [] : [`content-type: ${type}`])];
  const body = said.trim() === '' ? [] : ['', ...said.split('\n')];
  return bounded([...head, ...body], secretsOf(channel));
}

export function mailLines(channel: MailChannel, lines: readonly string[]): readonly string[] {
  return bounded(lines, mailSecretsOf(channel));
}

/** Before it is cut, so that no half of a secret is left at the end of a line. */
function bounded(lines: readonly string[], secrets: readonly string[]): readonly string[] {
  return lines
    .slice(0, linesCountMax)
    .map((line) => cleanText(redacted(line, secrets), lineCharsMax));
}
