/**
 * The TCP side of a probe: resolve, connect, talk, and leave politely. Whatever the peer does, the exchange ends within
 * its deadline, reads bounded bytes, and leaves no socket open.
 */
import { isIP, type Socket } from 'node:net';
import { type ConnectionOptions, connect as connectTls, type TLSSocket } from 'node:tls';
import { finishMsMax, peerBytesMax } from '../base/limits.ts';
import type { Observation, Trouble } from '../base/values.ts';
import { connectInTurn } from './connect.ts';
import { beforeOver, cutShort, type Deadline, sayLimit, startDeadline } from './deadline.ts';
import { type Decoder, done, type Step, stuck } from './decoding.ts';
import { type Inbox, openInbox } from './inbox.ts';
import { errorCode, handshakeTrouble, networkTrouble } from './network-errors.ts';
import { beginCourse, type Course, trouble } from './observe.ts';
import type { ProbeContext } from './probe.ts';
import { recognise } from './recognise.ts';
import { resolveHost, type Target } from './resolve.ts';
import { hostPort } from './settings/words.ts';

interface Conversation extends Target {
  /** The protocol's name as `recognise` has it; what answers in another one is then named. */
  readonly speaks?: string;
}

/** An open connection, as a probe's talk sees it. One thing at a time: await each step before the next. */
export interface Wire {
  /** `host:port`, for sentences. */
  readonly where: string;
  /** The address that is connected to; empty once it is not. */
  address(): string;
  /** Errors show at the next read. */
  write(bytes: Uint8Array): void;
  /** Waits until the decoder has a value; what it did not take stays for the next read. */
  read<T>(decode: Decoder<T>): Promise<Step<T>>;
  /**
   * Goes over to TLS on the same connection, in the phase `secure`, and returns to `speak`.
   * `options` without host, port or socket. The certificate is not judged here: do so before the next write.
   */
  secure(options: ConnectionOptions): Promise<Step<TLSSocket>>;
  /** Waits for other work, a calculation in a thread, but not beyond the deadline. */
  during<T>(work: Promise<T>): Promise<Step<T>>;
}

/** Opens a connection, lets `talk` make the observation, closes. Rejects only for what says nothing about the peer. */
export async function converse(
  target: Conversation,
  context: ProbeContext,
  talk: (wire: Wire, course: Course) => Promise<Observation>,
): Promise<Observation> {
  const course = beginCourse(context.clock);
  const deadline = startDeadline(context);
  const scope = { target, context, deadline, course };
  try {
    let addresses: readonly string[] = [target.host];
    if (isIP(target.host) === 0) {
      course.phase('resolve');
      const found = await resolveHost(scope);
      if (!found.ok) return course.troubled(found.trouble);
      addresses = found.value;
    }
    course.phase('connect');
    const socket = await connectInTurn(addresses, scope);
    if (!socket.ok) return course.troubled(socket.trouble);
    course.phase('speak');
    return await talkOver(socket.value, scope, talk);
  } finally {
    deadline.release();
  }
}

interface Scope {
  readonly target: Conversation;
  readonly context: ProbeContext;
  readonly deadline: Deadline;
  readonly course: Course;
}

/** The connection as it stands: plain at first, later perhaps TLS. */
interface Line extends Scope {
  readonly where: string;
  readonly inbox: Inbox;
  socket: Socket;
  goDeaf: () => void;
}

async function talkOver(
  socket: Socket,
  scope: Scope,
  talk: (wire: Wire, course: Course) => Promise<Observation>,
): Promise<Observation> {
  const inbox = openInbox(peerBytesMax);
  const { target, context, deadline, course } = scope;
  const where = hostPort(target.host, target.port);
  const goDeaf = inbox.hear(socket);
  const line: Line = { target, context, deadline, course, where, inbox, socket, goDeaf };
  const forget = deadline.whenOver(inbox.wake);
  try {
    return await talk(
      {
        where,
        // No getter: to define one takes longer than all else here.
        address: () => socket.remoteAddress ?? '',
        write: (bytes) => void line.socket.write(bytes),
        read: (decode) => read(line, decode),
        secure: (options) => secure(line, options),
        during: (work) => during(line, work),
      },
      course,
    );
  } finally {
    forget();
    await finish(line);
    line.socket.destroy();
    socket.destroy();
    line.goDeaf();
  }
}

async function read<T>(line: Line, decode: Decoder<T>): Promise<Step<T>> {
  for (;;) {
    const result = decode(line.inbox.unread());
    switch (result.state) {
      case 'value':
        line.inbox.take(result.usedBytes);
        return done(result.value);
      case 'malformed':
        return stuck(
          otherProtocol(line) ??
            trouble('malformed', `the answer of ${line.where} is broken: ${result.why}`),
        );
      case 'need-more': {
        const broken = brokenOff(line);
        if (broken) return stuck(otherProtocol(line) ?? broken);
        await line.inbox.changed();
      }
    }
  }
}

async function secure(line: Line, options: ConnectionOptions): Promise<Step<TLSSocket>> {
  if (line.inbox.unread().length > 0) {
    return stuck(
      trouble(
        'malformed',
        `${line.where} sent bytes before the TLS handshake, which nothing protects`,
      ),
    );
  }
  line.course.phase('secure');
  line.goDeaf();
  const socket = connectTls({ ...options, socket: line.socket });
  line.socket = socket;
  line.goDeaf = line.inbox.hear(socket);
  let secured = false;
  socket.once('secureConnect', () => {
    secured = true;
    line.inbox.wake();
  });
  while (!secured) {
    const ended = line.inbox.ended();
    if (ended) return stuck(handshakeTrouble(ended, line.where));
    const broken = brokenOff(line);
    if (broken) return stuck(broken);
    await line.inbox.changed();
  }
  line.course.phase('speak');
  return done(socket);
}

function during<T>(line: Line, work: Promise<T>): Promise<Step<T>> {
  const step = work.then((value): Step<T> => done(value));
  return beforeOver(line.deadline, step, () => stuck(brokenOff(line) ?? cutShort()));
}

/** FIN, then a short wait for the peer's: closing with unread bytes would be a reset, which servers write to their log. */
async function finish({ socket, inbox, context, deadline }: Line): Promise<void> {
  if (inbox.ended() || deadline.over()) return;
  let late = false;
  const endWait = () => {
    late = true;
    inbox.wake();
  };
  const alarm = context.clock.after(finishMsMax, endWait);
  const forget = deadline.whenOver(endWait);
  socket.end();
  while (!late && !inbox.ended()) await inbox.changed();
  alarm.cancel();
  forget();
}

/** Only the very first bytes of a peer can be recognised. */
function otherProtocol({ inbox, target, where }: Line): Trouble | null {
  if (target.speaks === undefined || inbox.takenBytes() > 0) return null;
  const protocol = recognise(inbox.unread());
  return protocol === null || protocol === target.speaks
    ? null
    : trouble('other-protocol', `${where} speaks ${protocol}, not ${target.speaks}`);
}

/** Why no more bytes can be waited for; null while they can. */
function brokenOff({ inbox, where, context, deadline }: Line): Trouble | null {
  const ended = inbox.ended();
  const midway = inbox.unread().length > 0;
  if (ended === 'closed') {
    return trouble(
      'closed-early',
      midway
        ? `${where} closed the connection in the middle of its answer`
        : `${where} closed the connection before it answered`,
    );
  }
  if (ended === 'flooded') {
    return trouble('malformed', `${where} sent more than ${peerBytesMax} bytes without an end`);
  }
  if (ended) return brokenBy(ended, where);
  switch (deadline.over()) {
    case 'stopped':
      return cutShort();
    case 'time':
      return trouble(
        'no-reply',
        `${where} accepts connections but ${midway ? 'did not finish its answer' : 'did not answer'} within ${sayLimit(context.timeoutMs)}`,
      );
    case null:
      return null;
  }
}

/** TLS 1.3 tells of a refused handshake only after it (RFC 8446 §4.4.2.4). */
function brokenBy(error: Error, where: string): Trouble {
  const code = errorCode(error);
  if (code?.startsWith('ERR_SSL_')) return handshakeTrouble(error, where);
  return (
    networkTrouble(error, where) ?? trouble('reset', `the connection to ${where} broke (${code})`)
  );
}
