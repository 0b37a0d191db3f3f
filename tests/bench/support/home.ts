/** A daemon as it is installed, over a record with a past, and services that are really there. */
import { cpSync } from 'node:fs';
import { join } from 'node:path';
import { type Place, place } from '../../daemon/support/daemon.ts';
import { type Child, started } from './processes.ts';

export interface Home extends Place, AsyncDisposable {
  /** Connections that the services were asked by so far. */
  visits(): Promise<number>;
}

export interface HomeGiven {
  readonly servicesCount: number;
  readonly every: string;
  /** A data folder to begin with. */
  readonly record?: string;
}

/** Services are `Shelf 0`, `Shelf 1` and so on; every second one is asked over HTTP. */
export async function homeOf({ servicesCount, every, record }: HomeGiven): Promise<Home> {
  const servers = await started('support/servers.mjs', 'tcp', 1);
  const web = await started('support/servers.mjs', 'http', 1);
  const [[tcpPort], [httpPort]] = [
    await servers.ask<number[]>('ports'),
    await web.ask<number[]>('ports'),
  ];
  const home = await place();
  if (record !== undefined) cpSync(record, join(home.folder, 'data'), { recursive: true });
  const services = Array.from({ length: servicesCount }, (_, nth) => {
    const asked =
      nth % 2 === 0 ? `tcp://127.0.0.1:${tcpPort}` : `http://127.0.0.1:${httpPort}/${nth}`;
    return `  - { name: Shelf ${nth}, group: Room ${nth % 4}, probe: "${asked}" }`;
  });
  home.configure(`services:\n${services.join('\n')}`, `every: ${every}, settle: 0s`);
  return {
    ...home,
    visits: async () => (await visitsOf(servers)) + (await visitsOf(web)),
    [Symbol.asyncDispose]: async () => {
      home.remove();
      await servers[Symbol.asyncDispose]();
      await web[Symbol.asyncDispose]();
    },
  };
}

async function visitsOf(servers: Child): Promise<number> {
  const [count = 0] = await servers.ask<number[]>('counts');
  return count;
}
