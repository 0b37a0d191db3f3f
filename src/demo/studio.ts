/** The roll of the Fernhill pottery studio, written as a configuration file would have it. All of it is invented. */
import { loadConfigText } from '../config/load.ts';
import { configError } from '../config/mistake.ts';
import type { Config } from '../config/resolve.ts';
import { makePrivateKey } from '../probe/x25519.ts';
import type { Cast } from './cast.ts';
import { kilnWord } from './kiln-logger.ts';
import type { Place } from './stage.ts';

interface StudioGiven {
  readonly cast: Cast;
  readonly board: { readonly host: string; readonly port: number };
  readonly receiver: { readonly url: string; readonly secret: string };
}

export function studioConfig({ cast, board, receiver }: StudioGiven): Config {
  const written = {
    board: {
      title: 'Fernhill Pottery, an invented example',
      listen: `${board.host}:${board.port}`,
      timezone: 'Europe/Dublin',
    },
    // Quicker than at home, so that there is something to see.
    defaults: { every: '2s', timeout: '1500ms', recheck: '1s', settle: '0s' },
    services: [...studio(cast), ...house(cast), ...elsewhere(cast)],
    jobs,
    tell: [{ name: 'terminal', webhook: receiver.url, secret: receiver.secret }],
  };
  // JSON is YAML, too.
  const loaded = loadConfigText({ text: JSON.stringify(written), file: 'demo', env: {} });
  if (!loaded.ok) throw configError(loaded.mistakes);
  return loaded.config;
}

/** With which its jobs report in; invented like all else. */
export const jobToken = 'demo-of-a-pottery-studio';

const jobs = [
  {
    name: 'Nightly backup',
    group: 'Studio',
    schedule: '15 2 * * *',
    allow: '20m',
    limit: '3h',
    needs: ['nas'],
    token: jobToken,
  },
  {
    name: 'Stock import',
    group: 'Studio',
    schedule: '0 6 * * 1',
    allow: '2h',
    limit: '1h',
    needs: ['stock-list'],
    note: 'Reads what the weighing scale wrote. Mend the line that it names, and run it again.',
    token: jobToken,
  },
];

function studio({ orderBook, shop, photoArchive, stockList, accounts, kilnLogger }: Cast) {
  return [
    {
      name: 'Order book',
      group: 'Studio',
      probe: `postgres://${where(orderBook)}`,
      open: 'https://orders.fernhill.home.arpa/',
      note: 'Container "orders-db". Restart with the compose file in /srv/orders.',
      objective: '99.5%',
    },
    {
      name: 'Shop',
      group: 'Studio',
      probe: {
        kind: 'http',
        url: `http://${where(shop)}/health`,
        expect: { status: 200, text: 'Kiln', json: { path: '$.state', equals: 'ready' } },
      },
      open: 'https://shop.fernhill.home.arpa/',
      needs: ['order-book'],
      objective: '99.9%',
    },
    {
      name: 'Photo archive',
      group: 'Studio',
      probe: `http://${where(photoArchive)}/`,
      open: 'https://photos.fernhill.home.arpa/',
      needs: ['nas'],
      slow: '400ms',
    },
    {
      name: 'Stock list',
      group: 'Studio',
      probe: `mysql://${where(stockList)}`,
      note: 'Too many connections: the weekly import may hang. Stop it, then see who is connected.',
    },
    { name: 'Accounts', group: 'Studio', probe: `tds://${where(accounts)}` },
    {
      name: 'Kiln logger',
      group: 'Studio',
      probe: { kind: 'tcp', ...place(kilnLogger), expect: kilnWord },
      note: 'The grey box beside kiln 2. Its plug is behind the shelf.',
    },
  ];
}

function house({ nas, gateway, remoteAccess }: Cast) {
  return [
    { name: 'File share', id: 'nas', group: 'House', probe: `tcp://${where(nas)}` },
    {
      name: 'Studio gateway',
      id: 'gateway',
      group: 'House',
      probe: `tcp://${where(gateway)}`,
      note: 'The box in the hall. If it is dark, look at its plug first.',
    },
    {
      name: 'Remote access',
      group: 'House',
      probe: {
        kind: 'wireguard',
        ...place(remoteAccess),
        publicKey: remoteAccess.publicKey,
        privateKey: makePrivateKey().toString('base64'),
      },
    },
  ];
}

function elsewhere({ glazeSupplier }: Cast) {
  return [
    {
      name: 'Glaze supplier',
      group: 'Elsewhere',
      probe: `http://${where(glazeSupplier)}/`,
      open: 'https://glaze.example/',
      through: ['gateway'],
    },
  ];
}

function place({ host, port }: Place): Place {
  return { host, port };
}

function where({ host, port }: Place): string {
  return `${host}:${port}`;
}
