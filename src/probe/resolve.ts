/** From a host's name to its addresses, in the order in which an ordinary client of this machine would try them. */
import { promises as dns } from 'node:dns';
import { isIP } from 'node:net';
import { beforeOver, cutShort, type Deadline, sayLimit } from './deadline.ts';
import { done, type Step, stuck } from './decoding.ts';
import { networkTrouble } from './network-errors.ts';
import { trouble } from './observe.ts';
import type { Lookup, ProbeContext } from './probe.ts';
import { hostPort } from './settings/words.ts';

/** Where a probe asks: a name or an address without brackets. */
export interface Target {
  readonly host: string;
  readonly port: number;
}

/** Addresses of one name that are tried; a name server may give hundreds. */
const addressesCountMax = 8;

/**
 * getaddrinfo(3) cannot be called back, and Node runs two of them at a time. While a name server is silent, every
 * question more would only lengthen the queue: one is kept under way for each name, and whoever asks meanwhile shares it.
 */
const underWay = new Map<string, Promise<readonly string[]>>();

/** Asks the system's resolver: hosts file first, then name servers, as configured on this machine. */
const systemLookup: Lookup = (host) => {
  const known = underWay.get(host);
  if (known !== undefined) return known;
  const asked = dns
    .lookup(host, { all: true })
    .then((found) => found.map(({ address }) => address))
    .finally(() => underWay.delete(host));
  underWay.set(host, asked);
  return asked;
};

interface Scope {
  readonly target: Target;
  readonly context: ProbeContext;
  readonly deadline: Deadline;
}

/** At least one address; an address itself needs no asking. Rejects for what says nothing about the name. */
export async function resolveHost(scope: Scope): Promise<Step<readonly string[]>> {
  const { host, port } = scope.target;
  const { context, deadline } = scope;
  if (isIP(host) !== 0) return done([host]);
  const found = (context.lookup ?? systemLookup)(host).then(
    (addresses): Step<readonly string[]> =>
      addresses.length > 0
        ? done(addresses.slice(0, addressesCountMax))
        : stuck(trouble('not-found', `the name ${host} has no address`)),
    (thrown: unknown): Step<never> => {
      const told = networkTrouble(thrown, hostPort(host, port));
      if (told) return stuck(told);
      throw thrown;
    },
  );
  return beforeOver<Step<readonly string[]>>(deadline, found, () =>
    stuck(
      deadline.over() === 'stopped'
        ? cutShort()
        : trouble(
            'no-answer',
            `no name server told the address of ${host} within ${sayLimit(context.timeoutMs)}`,
          ),
    ),
  );
}
