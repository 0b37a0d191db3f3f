/** Who plays in the demo: the studio's servers, each with its place and what it can be told to do. */
import { createServer } from 'node:net';
import type { Clock } from '../base/clock.ts';
import { kilnLogger } from './kiln-logger.ts';
import { mysqlServer } from './mysql-server.ts';
import { postgresServer } from './postgres-server.ts';
import { onStage } from './stage.ts';
import { tdsServer } from './tds-server.ts';
import { webServer } from './web-server.ts';
import { wireguardServer } from './wireguard-server.ts';

export type Cast = Awaited<ReturnType<typeof gather>>;

/** All of them, listening. */
export async function gather(clock: Clock) {
  const gateway = createServer((socket) => socket.end());
  const files = createServer((socket) => socket.end());
  const [orders, stock, logger] = [postgresServer(), mysqlServer(), kilnLogger()];
  const shop = webServer('{"state":"ready","firing":"Kiln 2, cone 6"}', clock);
  const photos = webServer('{"state":"ready","photos":11204}', clock);
  const glaze = webServer('{"state":"ready"}', clock);
  return {
    gateway: await onStage(gateway, at('gateway', 8443)),
    nas: await onStage(files, at('nas', 2049)),
    orderBook: { ...orders, ...(await onStage(orders.server, at('db', 5432))) },
    stockList: { ...stock, ...(await onStage(stock.server, at('stock', 3306))) },
    accounts: await onStage(tdsServer(), at('accounts', 1433)),
    kilnLogger: { ...logger, ...(await onStage(logger.server, at('kiln', 4001))) },
    shop: { ...shop, ...(await onStage(shop.server, at('shop', 8080))) },
    photoArchive: { ...photos, ...(await onStage(photos.server, at('photos', 2283))) },
    glazeSupplier: {
      ...glaze,
      ...(await onStage(glaze.server, { host: 'glaze.example', port: 8081 })),
    },
    remoteAccess: await wireguardServer(at('vpn', 51_820)),
  };
}

function at(name: string, port: number) {
  return { host: `${name}.fernhill.home.arpa`, port };
}

/** The end of the play. */
export async function dismiss({ remoteAccess, ...others }: Cast): Promise<void> {
  await Promise.all([remoteAccess.close(), ...Object.values(others).map(({ leave }) => leave())]);
}
