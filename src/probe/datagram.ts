/**
 * The UDP side of a probe: resolve, connect, send, receive. Whatever arrives, the exchange ends within its deadline, looks
 * at a bounded number of datagrams, and leaves no socket open.
 *
 * The socket is connected, since only then do ICMP errors reach the program (udp(7)). A connected socket hears nobody but
 * the address that was asked; a host with several may answer from another. So a second, unconnected socket can listen on the
 * same local port: the kernel gives it exactly what the connected one does not take, and nothing need be sent twice.
 */
import { createSocket, type Socket } from 'node:dgram';
import { isIP, isIPv6 } from 'node:net';
import type { Observation, Trouble } from '../base/values.ts';
import { cutShort, type Deadline, sayLimit, startDeadline } from './deadline.ts';
import { done, type Step, stuck } from './decoding.ts';
import { type Letterbox, openLetterbox } from './letterbox.ts';
import { errorCode, networkTrouble } from './network-errors.ts';
import { beginCourse, type Course, trouble } from './observe.ts';
import type { ProbeContext } from './probe.ts';
import { resolveHost, type Target } from './resolve.ts';
import { hostPort } from './settings/words.ts';

interface Correspondence extends Target {
  /** Hears answers from other addresses too. Whatever accepts them must authenticate them: anybody may have sent them. */
  readonly hearsElsewhere?: boolean;
  /**
   * Keeps the port for so long after the observation, though nobody listens any more: some servers log it as an error when
   * an answer that they send late, or again, meets a closed port. Neither the observation nor the daemon's end waits for it.
   */
  readonly lingerMs?: number;
}

/**
 * What a datagram means, or null when it belongs to nothing that was asked: it is then ignored, for anybody may forge one.
 * `elsewhere` is `address:port` when it came from another place than the one asked, else null.
 */
type Accept<T> = (bytes: Buffer, elsewhere: string | null) => T | null;

/** An open socket, as a probe's talk sees it. One thing at a time: await each step before the next. */
export interface DatagramWire {
  /** `host:port`, for sentences. */
  readonly where: string;
  /** Always from the same local port. Errors show at the next receive. Does nothing once time is over. */
  send(bytes: Uint8Array): void;
  /**
   * The first datagram that is accepted. Without one, after `withinMs` or at the deadline, the trouble is `silent`;
   * when an ICMP error came back, what that says.
   */
  receive<T>(accept: Accept<T>, withinMs?: number): Promise<Step<T>>;
  /** Milliseconds in which something may still be heard: until the deadline; 0 once it is over, the daemon stops, or too much came. */
  remainingMs(): number;
}

/** Opens a socket, lets `talk` make the observation, closes. Rejects only for what says nothing about the peer. */
export async function correspond(
  target: Correspondence,
  context: ProbeContext,
  talk: (wire: DatagramWire, course: Course) => Promise<Observation>,
): Promise<Observation> {
  const course = beginCourse(context.clock);
  const deadline = startDeadline(context);
  const scope = { target, context, deadline };
  try {
    if (isIP(target.host) === 0) course.phase('resolve');
    const addresses = await resolveHost(scope);
    if (!addresses.ok) return course.troubled(addresses.trouble);
    course.phase('speak');
    const line = await openInTurn(addresses.value, scope);
    if (!line.ok) return course.troubled(line.trouble);
    return await talkOver(line.value, course, talk);
  } finally {
    deadline.release();
  }
}

interface Scope {
  readonly target: Correspondence;
  readonly context: ProbeContext;
  readonly deadline: Deadline;
}

interface Line extends Scope {
  readonly where: string;
  readonly letterbox: Letterbox;
  readonly socket: Socket;
  /** The unconnected one on the same port. */
  readonly ear: Socket | null;
}

async function talkOver(
  line: Line,
  course: Course,
  talk: (wire: DatagramWire, course: Course) => Promise<Observation>,
): Promise<Observation> {
  const { where, letterbox, socket, deadline } = line;
  const forget = deadline.whenOver(letterbox.wake);
  try {
    return await talk(
      {
        where,
        send: (bytes) => {
          if (deadline.over()) return;
          socket.send(bytes, (error) => {
            if (error) letterbox.fail(error);
          });
        },
        receive: (accept, withinMs) => receive(line, accept, withinMs),
        remainingMs: () => (deadline.over() || letterbox.flooded() ? 0 : deadline.remainingMs()),
      },
      course,
    );
  } finally {
    forget();
    leave(line);
  }
}

function leave({ target, context, letterbox, socket, ear }: Line): void {
  const { clock, signal } = context;
  const { lingerMs = 0 } = target;
  const sockets = ear ? [socket, ear] : [socket];
  const close = () => {
    for (const one of sockets) one.close();
  };
  if (lingerMs === 0 || signal.aborted || letterbox.failed()) {
    close();
    return;
  }
  for (const one of sockets) one.removeAllListeners('message');
  const end = () => {
    alarm.cancel();
    signal.removeEventListener('abort', end);
    close();
  };
  const alarm = clock.after(lingerMs, end);
  signal.addEventListener('abort', end, { once: true });
}

async function receive<T>(line: Line, accept: Accept<T>, withinMs?: number): Promise<Step<T>> {
  const { letterbox, context } = line;
  let late = false;
  const endWait = () => {
    late = true;
    letterbox.wake();
  };
  const alarm = withinMs === undefined ? null : context.clock.after(withinMs, endWait);
  try {
    for (;;) {
      for (let letter = letterbox.take(); letter; letter = letterbox.take()) {
        const value = accept(letter.bytes, letter.elsewhere);
        if (value !== null) return done(value);
      }
      const broken = brokenOff(line, late);
      if (broken) return stuck(broken);
      await letterbox.changed();
    }
  } finally {
    alarm?.cancel();
  }
}

/** Why nothing more can be waited for; null while it can. */
function brokenOff({ letterbox, where, context, deadline }: Line, late: boolean): Trouble | null {
  const failed = letterbox.failed();
  if (failed) return datagramTrouble(failed, where);
  if (deadline.over() === 'stopped') return cutShort();
  if (letterbox.flooded()) {
    return trouble(
      'silent',
      `among all that came from ${where} there was no answer to the question`,
    );
  }
  if (deadline.over() === null && !late) return null;
  return trouble('silent', `nothing came back from ${where} within ${sayLimit(context.timeoutMs)}`);
}

/**
 * Of ICMP errors only those that a router or a filter sends on purpose reach a connected UDP socket: with IPv4 a prohibited
 * way is EHOSTUNREACH, with IPv6 EACCES; an unreachable host is silence (seen on Linux 6; ip(7), icmp(7)).
 */
function datagramTrouble(error: Error, where: string): Trouble {
  const code = errorCode(error);
  const came = 'syscall' in error && error.syscall === 'recvmsg';
  if (came && (code === 'EHOSTUNREACH' || code === 'EACCES')) {
    return trouble('rejected', `a firewall refuses the way to ${where}`);
  }
  const told = networkTrouble(error, where);
  if (!told) throw error;
  if (told.reason !== 'refused') return told;
  const hint =
    'Is the service started? A firewall that rejects what it does not let through looks the same.';
  return { ...told, hint };
}

/** The first address that a socket can be connected to, as an ordinary client would; `addresses` must not be empty. */
async function openInTurn(addresses: readonly string[], scope: Scope): Promise<Step<Line>> {
  let failed: Trouble | null = null;
  for (const address of addresses) {
    if (scope.deadline.over()) break;
    const line = await openTo(address, scope);
    if (line.ok) return line;
    failed = line.trouble;
  }
  return stuck(failed ?? cutShort());
}

async function openTo(address: string, scope: Scope): Promise<Step<Line>> {
  const { host, port, hearsElsewhere = false } = scope.target;
  const where = hostPort(host, port);
  const letterbox = openLetterbox();

  const type = isIPv6(address) ? 'udp6' : 'udp4';
  const ear = hearsElsewhere ? createSocket({ type, reuseAddr: true }) : null;
  const socket = createSocket({ type, reuseAddr: hearsElsewhere });
  // They stay for the sockets' lives: an error that nobody listens to would end the process.
  socket.on('error', letterbox.fail).on('message', (bytes) => letterbox.put(bytes, null));
  ear
    ?.on('error', letterbox.fail)
    .on('message', (bytes, from) => letterbox.put(bytes, hostPort(from.address, from.port)));
  try {
    if (ear) await bound(socket, await bound(ear, 0));
    await connected(socket, address, port);
  } catch (thrown) {
    socket.close();
    ear?.close();
    const told = networkTrouble(thrown, where);
    if (!told) throw thrown;
    return stuck(told);
  }
  return done({ ...scope, where, letterbox, socket, ear });
}

/** Resolves with the port. */
function bound(socket: Socket, port: number): Promise<number> {
  return new Promise((resolve, reject) => {
    socket.once('error', reject);
    socket.bind({ port, exclusive: true }, () => {
      socket.off('error', reject);
      resolve(socket.address().port);
    });
  });
}

function connected(socket: Socket, address: string, port: number): Promise<void> {
  return new Promise((resolve, reject) => {
    // The implicit bind tells its errors by the event, the connect by the argument.
    socket.once('error', reject);
    socket.connect(port, address, (error?: Error) => {
      socket.off('error', reject);
      if (error) reject(error);
      else resolve();
    });
  });
}
