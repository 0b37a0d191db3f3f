/**
 * The configuration that is used when there is none: this machine watches itself, and what answers on
 * a few well-known ports of its loopback. It is written as YAML and read like any other.
 */
import { connect } from 'node:net';

const lookMsMax = 500;

/** Well-known ports (IANA service name registry), and how each is asked. */
const candidates = [
  { port: 22, name: 'Remote shell', probe: 'tcp://127.0.0.1:22' },
  {
    port: 80,
    name: 'Web server',
    probe:
      '{ kind: http, url: "http://127.0.0.1/", expect: { status: ["2xx", "3xx", "4xx"] }, redirects: { follow: false } }',
  },
  {
    port: 443,
    name: 'Web server, encrypted',
    // Nobody can say under which name it is known: its certificate is shown, not judged.
    probe:
      '{ kind: http, url: "https://127.0.0.1/", certificate: { trust: any }, expect: { status: ["2xx", "3xx", "4xx"] }, redirects: { follow: false } }',
  },
  { port: 5432, name: 'Database', probe: 'postgres://127.0.0.1:5432' },
] as const;

export async function builtInConfig(board: {
  readonly host: string;
  readonly port: number;
}): Promise<string> {
  const listening = await Promise.all(candidates.map(({ port }) => listens(port)));
  const found = candidates.filter((_, nth) => listening[nth]);
  const services = [{ name: 'This board', probe: `http://${board.host}:${board.port}/` }, ...found];
  return [
    'board:',
    '  title: This machine',
    `  listen: ${board.host}:${board.port}`,
    'services:',
    ...services.map(
      ({ name, probe }) => `  - { name: "${name}", group: This machine, probe: ${probe} }`,
    ),
    '',
  ].join('\n');
}

function listens(port: number): Promise<boolean> {
  return new Promise((resolve) => {
    const socket = connect({ host: '127.0.0.1', port, timeout: lookMsMax });
    const end = (is: boolean) => {
      socket.destroy();
      resolve(is);
    };
    socket.once('connect', () => end(true));
    socket.once('timeout', () => end(false));
    socket.once('error', () => end(false));
  });
}
