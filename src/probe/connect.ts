/** From addresses to one open TCP connection: each is tried in turn, all within one deadline. */
import { connect, type Socket } from 'node:net';
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

interface Scope {
  readonly target: Target;
  readonly context: ProbeContext;
  readonly deadline: Deadline;
}

/** Rejects for what says nothing about the peer (no descriptors left). `addresses` must not be empty. */
export async function connectInTurn(
  addresses: readonly string[],
  scope: Scope,
): Promise<Step<Socket>> {
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
  const where = sayWhere(scope.target, address);
  return new Promise((resolve, reject) => {
    const socket = connect({ host: address, port: scope.target.port, noDelay: true });
    const settle = (step: Step<Socket>) => {
      share?.cancel();
      forget();
      // Somebody listens for the socket's life: an error that nobody hears would end the process. But nobody who knows of
      // this call: the handle of a socket outlives it, and would keep all of it.
      socket.on('error', ignore).off('error', broke).off('connect', connected);
      if (!step.ok) socket.destroy();
      resolve(step);
    };
    const late = () => settle(stuck(lateTrouble(where, scope)));
    const broke = (error: Error) => {
      const told = networkTrouble(error, where);
      if (!told) reject(error);
      settle(stuck(told ?? lateTrouble(where, scope)));
    };
    const connected = () => settle(done(socket));
    socket.on('error', broke).on('connect', connected);
    const share = shareMs === null ? null : scope.context.clock.after(shareMs, late);
    const forget = scope.deadline.whenOver(late);
  });
}

function ignore(): void {}

function lateTrouble(where: string, { context, deadline }: Scope): Trouble {
  if (deadline.over() === 'stopped') return cutShort();
  return trouble('timed-out', `${where} did not answer within ${sayLimit(context.timeoutMs)}`);
}

/** `name:port`, with the address that was tried where the name is another. */
function sayWhere({ host, port }: Target, address: string): string {
  return host === address ? hostPort(host, port) : `${hostPort(host, port)} (${address})`;
}
