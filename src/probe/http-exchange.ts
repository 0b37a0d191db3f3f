/** One HTTP request and its answer over an open connection that is used for nothing else. Bounded in bytes and time. */
import type { IncomingHttpHeaders } from 'node:http';
import type { Socket } from 'node:net';
import { Client, type Dispatcher, errors } from 'undici';
import { httpBodyBytesMax, httpHeaderBytesMax } from '../base/limits.ts';
import { onceEach } from '../base/once-each.ts';
import { cleanText } from '../base/text.ts';
import type { Trouble } from '../base/values.ts';
import { version } from '../base/version.ts';
import { cutShort, type Deadline, sayLimit } from './deadline.ts';
import { done, type Step, stuck } from './decoding.ts';
import type { HttpAnswer, HttpHeaders } from './http-answer.ts';
import type { Hop } from './http-redirects.ts';
import { errorCode, handshakeTrouble, networkTrouble } from './network-errors.ts';
import { trouble } from './observe.ts';
import { recognise } from './recognise.ts';

export interface ExchangeScope {
  /** `host:port`, for sentences. */
  readonly where: string;
  readonly deadline: Deadline;
  readonly timeoutMs: number;
}

/** What came over the wire, below HTTP. */
interface Seen {
  /** Enough to tell the protocol and its version. */
  opening: Buffer;
  /** More bytes than headers, body and what frames them can need. */
  flooded: boolean;
  /** FIN. */
  ended: boolean;
}

const openingBytes = 16;
/** A chunk of one byte takes six. */
const wireBytesMax = 8 * httpBodyBytesMax;

/** Sent unless configured otherwise. Compression would only hide the text that is looked for. */
const ownHeaders = {
  'user-agent': `Rollcall/${version} (probe)`,
  accept: '*/*',
  'accept-encoding': 'identity',
  'cache-control': 'no-cache',
};

/** Takes the socket, and destroys it in the end. Rejects only for what says nothing about the peer. */
export async function exchange(
  socket: Socket,
  hop: Hop,
  scope: ExchangeScope,
): Promise<Step<HttpAnswer>> {
  const seen = watch(socket);
  const client = clientOver(socket, hop.url.origin);
  // Not by an abort signal: one that fires before the request is written goes unheard.
  const forget = scope.deadline.whenOver(() => void client.destroy());
  try {
    const answer = await answerTo(requestOf(hop), client);
    const version = /^HTTP\/\d\.\d/.exec(seen.opening.toString('latin1'))?.[0] ?? 'HTTP/1.1';
    return done({ ...answer, version });
  } catch (thrown) {
    const told = explain(thrown, seen, scope);
    if (told === null) throw thrown;
    return stuck(told);
  } finally {
    forget();
    await client.destroy();
    socket.destroy();
  }
}

/** All limits of time are off: the deadline counts, and it does not begin anew with each byte. */
function clientOver(socket: Socket, origin: string): Client {
  let used = false;
  return new Client(origin, {
    connect: (_options, callback) => {
      // A client that lost its connection asks for another one.
      const again = used;
      used = true;
      // Not at once: the client overlooks a connection that it gets while it is asking for it.
      setImmediate(() => {
        if (again) callback(new Error('the connection is used up'), null);
        else callback(null, socket);
      });
    },
    headersTimeout: 0,
    bodyTimeout: 0,
    maxHeaderSize: httpHeaderBytesMax,
  });
}

/** Looks at what arrives before the parser takes it, and gives it back. */
function watch(socket: Socket): Seen {
  const seen: Seen = { opening: Buffer.alloc(0), flooded: false, ended: false };
  socket.on('readable', () => {
    if (seen.opening.length < openingBytes) {
      const chunk: Buffer | null = socket.read();
      if (chunk !== null) {
        seen.opening = Buffer.concat([seen.opening, chunk.subarray(0, openingBytes)]);
        socket.unshift(chunk);
      }
    }
    if (socket.bytesRead > wireBytesMax) {
      seen.flooded = true;
      socket.destroy();
    }
  });
  socket.once('end', () => {
    seen.ended = true;
  });
  return seen;
}

const requestOf = onceEach(
  (hop: Hop): Dispatcher.DispatchOptions => ({
    method: hop.method,
    path: `${hop.url.pathname}${hop.url.search}`,
    headers: headersOf(hop),
    body: hop.body,
    // `Connection: close`: one connection for each exchange (RFC 9112 §9.6).
    reset: true,
  }),
);

/** Names as the owner wrote them; the probe's own stand where the owner gave none. */
function headersOf(hop: Hop): Record<string, string> {
  const given = new Set(Object.keys(hop.headers).map((name) => name.toLowerCase()));
  const own = Object.entries(ownHeaders).filter(([name]) => !given.has(name));
  return { ...Object.fromEntries(own), ...hop.headers };
}

/**
 * Handed over as it is parsed: a stream of the body, of which no more than its beginning is read, would cost more than the
 * rest of the exchange. Resolves when that is there; rejects where the peer or the connection broke off before.
 */
function answerTo(
  request: Dispatcher.DispatchOptions,
  client: Client,
): Promise<Omit<HttpAnswer, 'version'>> {
  return new Promise((resolve, reject) => {
    const chunks: Buffer[] = [];
    let sizeBytes = 0;
    let status = 0;
    let headers: HttpHeaders = {};
    const end = () => {
      const cut = sizeBytes > httpBodyBytesMax;
      const body = Buffer.concat(chunks, Math.min(sizeBytes, httpBodyBytesMax));
      resolve({ status, headers, body, cut });
    };
    client.dispatch(request, {
      // Without it undici takes this for a handler of its old kind.
      onRequestStart: () => {},
      onResponseStart: (_controller, statusCode, fields) => {
        // The last one counts: an informational one (RFC 9110 §15.2) comes before.
        status = statusCode;
        headers = joinLines(fields);
      },
      onResponseData: (controller, chunk) => {
        chunks.push(chunk);
        sizeBytes += chunk.length;
        if (sizeBytes <= httpBodyBytesMax) return;
        end();
        controller.abort(new Error('enough of the body was read'));
      },
      onResponseEnd: end,
      // After the end it is too late to change anything.
      onResponseError: (_controller, error) => reject(error),
    });
  });
}

function joinLines(fields: IncomingHttpHeaders): HttpHeaders {
  const headers: Record<string, string> = {};
  for (const name of Object.keys(fields)) {
    const value = fields[name];
    headers[name] = Array.isArray(value) ? value.join(', ') : (value ?? '');
  }
  return headers;
}

/** Null: a defect of ours, not of the peer. */
function explain(thrown: unknown, seen: Seen, { where, ...scope }: ExchangeScope): Trouble | null {
  const began = seen.opening.length > 0;
  if (scope.deadline.over() === 'stopped') return cutShort();
  if (scope.deadline.over() === 'time') {
    const missing = began ? 'did not finish its answer' : 'did not answer';
    return trouble(
      'no-reply',
      `${where} accepts connections but ${missing} within ${sayLimit(scope.timeoutMs)}`,
    );
  }
  if (seen.flooded) {
    return trouble('malformed', `${where} sent more than ${wireBytesMax} bytes without an end`);
  }
  if (began && !beginsLikeHttp(seen.opening)) {
    const protocol = recognise(seen.opening);
    return trouble('other-protocol', `${where} speaks ${protocol ?? 'something else'}, not HTTP`);
  }
  return explainError(thrown, seen, where);
}

function beginsLikeHttp(opening: Buffer): boolean {
  return opening.toString('latin1', 0, 7) === 'HTTP/1.'.slice(0, opening.length);
}

/** Errors of undici and its parser, and what comes up from the socket below. */
function explainError(thrown: unknown, seen: Seen, where: string): Trouble | null {
  const code = errorCode(thrown) ?? '';
  const broken = (why: string) => trouble('malformed', `the answer of ${where} is broken: ${why}`);
  if (thrown instanceof errors.HTTPParserError) {
    const [, why = thrown.message] = /\((.*)\)$/.exec(thrown.message) ?? [];
    return seen.ended ? closedEarly(seen, where) : broken(cleanText(why, 120));
  }
  switch (code) {
    case 'UND_ERR_SOCKET':
      if (seen.ended) return closedEarly(seen, where);
      // A 100 or 101, or an answer before the request. RFC 9110 §15.2 would let an unasked 100 pass; undici does not.
      return trouble('malformed', `${where} sends an answer that was not asked for`);
    case 'UND_ERR_RES_CONTENT_LENGTH_MISMATCH':
      return seen.ended ? closedEarly(seen, where) : broken('its length contradicts its content');
    case 'UND_ERR_HEADERS_OVERFLOW':
      return broken(`its header is longer than ${httpHeaderBytesMax} bytes`);
    default:
      // TLS 1.3 tells of a refused handshake only after it (RFC 8446 §4.4.2.4).
      return code.startsWith('ERR_SSL_')
        ? handshakeTrouble(thrown, where)
        : networkTrouble(thrown, where);
  }
}

function closedEarly(seen: Seen, where: string): Trouble {
  const when = seen.opening.length > 0 ? 'in the middle of its answer' : 'before it answered';
  return trouble('closed-early', `${where} closed the connection ${when}`);
}
