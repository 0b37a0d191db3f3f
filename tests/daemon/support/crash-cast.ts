/**
 * The services of the crash test: loopback listeners that say a word or do not, some of them switched by a seeded script,
 * and the truth about each.
 */

import { setMaxListeners } from 'node:events';
import type { AddressInfo } from 'node:net';
import { createServer, type Server, type Socket } from 'node:net';
import { setTimeout as pause } from 'node:timers/promises';
import { type Chance, chance } from '../../simulate/chance.ts';

export interface Member {
  readonly id: string;
  /** Of another member: down, it explains this one. */
  readonly needs: string | null;
  /** Switched by the script. */
  readonly restless: boolean;
  readonly yaml: string;
  /** From each of these instants on it served, or did not; in order. */
  readonly truth: readonly { readonly at: number; readonly serves: boolean }[];
  turn(serves: boolean): void;
}

export interface Cast {
  readonly members: readonly Member[];
  /** From now on the script switches the restless ones. */
  play(): void;
  /** Ends the script; nothing is switched any more but by `turn`. */
  rest(): Promise<void>;
  close(): void;
}

const membersCount = 30;
const restlessCount = 14;
/** The last of the restless need the first one. */
const dependentsCount = 3;

export async function crashCast(seed: number): Promise<Cast> {
  const stages: Stage[] = [];
  for (let nth = 0; nth < membersCount; nth++) stages.push(await stage(nth));
  const members = stages.map(({ member }) => member);
  const stopping = new AbortController();
  setMaxListeners(membersCount, stopping.signal);
  let scripts: Promise<void>[] = [];
  return {
    members,
    play: () => {
      scripts = members
        .filter(({ restless }) => restless)
        .map((member) => script(member, chance(seed, member.id), stopping.signal));
    },
    rest: async () => {
      stopping.abort();
      await Promise.all(scripts);
    },
    close: () => {
      for (const { close } of stages) close();
    },
  };
}

interface Stage {
  readonly member: Member;
  close(): void;
}

/**
 * Out of service it still accepts, and hangs up: a port that is given back could be taken by a connection on its way out,
 * and a probe could reach itself through it.
 */
async function stage(nth: number): Promise<Stage> {
  const sockets = new Set<Socket>();
  const truth = [{ at: 0, serves: true }];
  const server: Server = createServer((socket) => {
    sockets.add(socket.on('error', () => {}).on('close', () => sockets.delete(socket)));
    if (truth.at(-1)?.serves) socket.write('ready\r\n');
    socket.end();
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const { port } = server.address() as AddressInfo;
  const restless = nth < restlessCount;
  const needs = restless && nth >= restlessCount - dependentsCount ? 'kiln-0' : null;
  const settings = [
    `name: Kiln ${nth}`,
    `probe: { kind: tcp, host: 127.0.0.1, port: ${port}, expect: ready }`,
    `confirm: ${1 + (nth % 2)}`,
    ...(needs === null ? [] : [`needs: [${needs}]`]),
  ];
  return {
    member: {
      id: `kiln-${nth}`,
      needs,
      restless,
      yaml: `{ ${settings.join(', ')} }`,
      truth,
      turn: (serves) => {
        if (truth.at(-1)?.serves !== serves) truth.push({ at: Date.now(), serves });
      },
    },
    close: () => {
      server.close();
      for (const socket of sockets) socket.destroy();
    },
  };
}

async function script(member: Member, { exponential }: Chance, signal: AbortSignal): Promise<void> {
  const meanMs = { serving: 7_000, away: 6_000 };
  for (let serves = false; !signal.aborted; serves = !serves) {
    const forMs = 500 + exponential(serves ? meanMs.away : meanMs.serving);
    await pause(forMs, undefined, { signal }).catch(() => {});
    if (!signal.aborted) member.turn(serves);
  }
}
