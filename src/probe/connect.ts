/** From addresses to one open TCP connection: each is tried in turn, all within one deadline. */
import { Socket } from 'node:net';
import type { Reason } from '../base/reasons.ts';
import type { Trouble } from '../base/values.ts';
import { cutShort, type Deadline, sayLimit } from './deadline.ts';
import { done, type Step, stuck } from './decoding.ts';
import { networkTrouble } from './network-errors.ts';
import { trouble } from './observe.ts';
import type { ProbeContext } from './probe.ts';
import type { Target } from './resolve.ts';
import { hostPort } from './settings/words.ts';

/** Of several failed addresses the one that tells most is reported: what came from the host itself before silence. */
const tellingOrder: readonly Reason[] = [
  'refused',
  'reset',
  'rejected',
  'timed-out',
  'unreachable',
  'no-route',
];

/**
 * With all that a socket's constructor sets itself, to the same values: to a copy that lacks them it would add them, each
 * time with new hidden classes of V8, and read every other option slowly. That took twenty times as long as the rest of it.
 */
const socketOptions = {
  noDelay: true,
  allowHalfOpen: false,
  emitClose: false,
  autoDestroy: true,
  decodeStrings: false,
};

interface Scope {
  readonly target: Target;
  readonly context: ProbeContext;
  readonly deadline: Deadline;
}

/** Rejects for what says nothing about the peer (no descriptors left). `addresses` must not be empty. */
export function connectInTurn(addresses: readonly string[], scope: Scope): Promise<Step<Socket>> {
  const [only] = addresses;
  const isOne = only !== undefined && addresses.length === 1 && !scope.deadline.over();
  return isOne ? connectTo(only, null, scope) : tryEach(addresses, scope);
}

async function tryEach(addresses: readonly string[], scope: Scope): Promise<Step<Socket>> {
  let failed: Trouble | null = null;
  for (const [index, address] of addresses.entries()) {
    if (scope.deadline.over()) break;
    const left = addresses.length - index;
    // A silent address (a broken IPv6, say) must leave time for the next; the last one has all that is left.
    const shareMs = left > 1 ? scope.deadline.remainingMs() / left : null;
    const attempt = await connectTo(address, shareMs, scope);
    if (attempt.ok) return attempt;
    failed = failed === null ? attempt.trouble : moreTelling(failed, attempt.trouble);
  }
  return stuck(failed ?? lateTrouble(hostPort(scope.target.host, scope.target.port), scope));
}

function moreTelling(one: Trouble, other: Trouble): Trouble {
  return tellingOrder.indexOf(other.reason) < tellingOrder.indexOf(one.reason) ? other : one;
}

function connectTo(address: string, shareMs: number | null, scope: Scope): Promise<Step<Socket>> {
  return new Promise((resolve, reject) => {
    const socket = new Socket(socketOptions);
    const settle = (step: Step<Socket>) => {
      ear.hear = null;
      share?.cancel();
      forget();
      if (!step.ok) socket.destroy();
      resolve(step);
    };
    const late = () => settle(stuck(lateTrouble(sayWhere(scope.target, address), scope)));
    const ear = earOn(socket, (error) => {
      if (error === null) return settle(done(socket));
      const where = sayWhere(scope.target, address);
      const told = networkTrouble(error, where);
      if (!told) reject(error);
      settle(stuck(told ?? lateTrouble(where, scope)));
    });
    socket.connect({ host: address, port: scope.target.port });
    const share = shareMs === null ? null : scope.context.clock.after(shareMs, late);
    const forget = scope.deadline.whenOver(late);
  });
}

interface Ear {
  /** Null: connected. */
  hear: ((error: Error | null) => void) | null;
}

/**
 * Stays on for the socket's life: an error that nobody hears would end the process. But it knows of the caller only while
 * he listens: the handle of a closed socket outlives every collection but a full one, with all that its listeners know.
 */
function earOn(socket: Socket, hear: NonNullable<Ear['hear']>): Ear {
  const ear: Ear = { hear };
  socket.on('error', (error) => ear.hear?.(error)).on('connect', () => ear.hear?.(null));
  return ear;
}

function lateTrouble(where: string, { context, deadline }: Scope): Trouble {
  if (deadline.over() === 'stopped') return cutShort();
  return trouble('timed-out', `${where} did not answer within ${sayLimit(context.timeoutMs)}`);
}

/** `name:port`, with the address that was tried where the name is another. */
function sayWhere({ host, port }: Target, address: string): string {
  return host === address ? hostPort(host, port) : `${hostPort(host, port)} (${address})`;
}
