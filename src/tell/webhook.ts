/**
 * One attempt at a webhook: POST, one answer, end. The receiver is a peer like any other: bounded time, bounded bytes,
 * cleaned text, no redirects. Standard Webhooks: 2xx is success, 3xx is a failure.
 */
import { Client, type Dispatcher } from 'undici';
import type { Clock } from '../base/clock.ts';
import { deliveryMsMax, receiverBodyBytesMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Notice } from '../record/record.ts';
import { type Reception, receptionOfHttp } from './backoff.ts';
import type { WebhookChannel } from './channel.ts';
import { type Event, eventOf } from './event.ts';
import { troubleText } from './receiver-trouble.ts';
import { redacted, secretsOf } from './redact.ts';
import { parseRetryAfter } from './retry-after.ts';
import { signatureHeaders } from './sign.ts';
import { renderBody } from './template.ts';
import { answerLines, isShown, requestLines, type Transcript } from './transcript.ts';

/** What came of one attempt. Not getting through is a value, too. */
export interface Answer {
  /** HTTP status or SMTP reply code; null when there was no answer. */
  readonly status: number | null;
  readonly reception: Reception;
  /** For the owner: cleaned, bounded, without secrets. */
  readonly detail: string;
  /** What the receiver asked for, at most an hour; null when it did not. */
  readonly retryAfterMs: number | null;
  /** Of a test alone. */
  readonly transcript?: Transcript;
}

/** Carries a notice to a channel, once. Ends soon after `signal` is aborted; never throws for what a receiver does. */
export type Send<Channel> = (
  channel: Channel,
  notice: Notice,
  signal: AbortSignal,
) => Promise<Answer>;

/** @param parts.instanceId UUID of the record: the source of its events. */
export function webhookSender(parts: { clock: Clock; instanceId: string }): Send<WebhookChannel> {
  return async (channel, notice, signal) => {
    const request = requestOf(channel, notice, parts);
    if (!request) return unanswered(unsendable);
    const limit = deadline(parts.clock, signal);
    try {
      const { heard, ...answer } = await exchange(channel, request, {
        clock: parts.clock,
        signal: limit.signal,
      });
      if (!isShown(notice)) return answer;
      const asked = requestLines(channel, request);
      return {
        ...answer,
        transcript: { asked, answered: heard ? answerLines(channel, heard) : [] },
      };
    } finally {
      limit.end();
    }
  };
}

/** There was no answer, or not even a question: it is tried again. */
export function unanswered(detail: string): Answer {
  return { status: null, reception: 'later', detail, retryAfterMs: null };
}

const unsendable =
  'the message cannot be made: check the address and the secret (whsec_…) of this channel';

interface Request {
  readonly url: URL;
  readonly headers: Readonly<Record<string, string>>;
  readonly body: string;
}

/** Null when address or secret are none. */
function requestOf(
  channel: WebhookChannel,
  notice: Notice,
  { clock, instanceId }: { clock: Clock; instanceId: string },
): Request | null {
  try {
    const { body, type } = contentOf(channel, eventOf(notice, instanceId));
    const signed = signatureHeaders(channel.secret, { id: notice.id, at: clock.wallMs(), body });
    return {
      url: new URL(channel.webhook),
      headers: {
        ...lowerCased(channel.headers ?? {}),
        'content-type': type,
        'user-agent': 'Rollcall',
        ...signed,
      },
      body,
    };
  } catch {
    return null;
  }
}

/** The event, or the owner's own body in its place; what a text is sent as, the owner's header says. */
function contentOf(
  { body, headers }: WebhookChannel,
  event: Event,
): { readonly body: string; readonly type: string } {
  if (body === null) return { body: JSON.stringify(event), type: 'application/cloudevents+json' };
  return renderBody(body, event, { stated: lowerCased(headers ?? {})['content-type'] ?? null });
}

/** So that a header of the owner's cannot stand beside one of ours under another spelling. */
function lowerCased(headers: Readonly<Record<string, string>>): Record<string, string> {
  return Object.fromEntries(
    Object.entries(headers).map(([name, value]) => [name.toLowerCase(), value]),
  );
}

/** Aborted when the time is over, or with `outer`. */
function deadline(clock: Clock, outer: AbortSignal): { signal: AbortSignal; end: () => void } {
  const controller = new AbortController();
  const abort = () => controller.abort();
  const alarm = clock.after(deliveryMsMax, abort);
  outer.addEventListener('abort', abort);
  if (outer.aborted) abort();
  return {
    signal: controller.signal,
    end: () => {
      alarm.cancel();
      outer.removeEventListener('abort', abort);
    },
  };
}

/** `heard`: what was read of the answer, as it came. */
type Exchanged = Answer & { readonly heard?: Parameters<typeof answerLines>[1] };

async function exchange(
  channel: WebhookChannel,
  { url, headers, body }: Request,
  { clock, signal }: { clock: Clock; signal: AbortSignal },
): Promise<Exchanged> {
  const where = url.port === '' ? url.hostname : url.host;
  // A connection of its own, closed afterwards; one deadline over everything in place of undici's.
  const client = new Client(url.origin, {
    pipelining: 0,
    headersTimeout: 0,
    bodyTimeout: 0,
    connectTimeout: deliveryMsMax,
  });
  try {
    const path = url.pathname + url.search;
    const { method } = channel;
    const answer = await client.request({ method, path, headers, body, signal });
    const said = await start(answer.body, receiverBodyBytesMax);
    return {
      status: answer.statusCode,
      reception: receptionOfHttp(answer.statusCode),
      detail: answerText(answer.statusCode, redacted(said, secretsOf(channel))),
      retryAfterMs: retryAfter(answer.headers, clock.wallMs()),
      heard: {
        status: answer.statusCode,
        type: String(answer.headers['content-type'] ?? ''),
        said,
      },
    };
  } catch (thrown) {
    const detail = signal.aborted
      ? `${where} did not answer within ${deliveryMsMax / 1000} s`
      : troubleText(thrown, where);
    return unanswered(detail);
  } finally {
    await client.destroy();
  }
}

/** The first bytes of a body as text; what comes after them is not waited for, and a body that breaks off is no failure. */
async function start(body: Dispatcher.ResponseData['body'], bytesMax: number): Promise<string> {
  const chunks: Buffer[] = [];
  let sizeBytes = 0;
  body.on('error', () => {});
  try {
    for await (const chunk of body) {
      chunks.push(chunk);
      sizeBytes += chunk.length;
      if (sizeBytes >= bytesMax) break;
    }
  } catch {
    // Cut off or out of time: the status has been read, and it decides.
  }
  return new TextDecoder().decode(Buffer.concat(chunks).subarray(0, bytesMax));
}

function answerText(status: number, said: string): string {
  const text = cleanText(said);
  if (status >= 300 && status < 400) {
    return `answered ${status}: it points elsewhere, and redirects are not followed`;
  }
  return text === '' ? `answered ${status}` : `answered ${status}: ${text}`;
}

function retryAfter(headers: Dispatcher.ResponseData['headers'], now: number): number | null {
  const field = headers['retry-after'];
  const first = Array.isArray(field) ? field[0] : field;
  return first === undefined ? null : parseRetryAfter(first, now);
}
