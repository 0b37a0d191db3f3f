/** What the house gets of a valid configuration. */
// biome-ignore-all lint/suspicious/noTemplateCurlyInString: the configuration's own variables are what is tested
import { readFileSync } from 'node:fs';
import { expect, expectTypeOf, test } from 'vitest';
import type { ServiceCard } from '../../src/base/values.ts';
import { loadConfig } from '../../src/config/load.ts';
import { configError, formatMistake } from '../../src/config/mistake.ts';
import { type Config, cardOf, type Service } from '../../src/config/resolve.ts';
import type { Policy } from '../../src/judge/policy.ts';
import { load, mistakesIn } from '../support/config-text.ts';

const example = new URL('../../config.example.yaml', import.meta.url).pathname;
const key = `whsec_${Buffer.alloc(32, 7).toString('base64')}`;

function configOf(text: string, around: Parameters<typeof load>[1] = {}): Config {
  const loaded = load(text, around);
  if (!loaded.ok) throw new Error(loaded.mistakes.map(formatMistake).join('\n'));
  return loaded.config;
}

function serviceOf(lines: string, defaults = ''): Service {
  const text = `defaults: { ${defaults} }\nservices: [{ name: Shop, probe: "tcp://nas:445", ${lines} }]`;
  const [service] = configOf(text).services;
  if (service === undefined) throw new Error('expected a service');
  return service;
}

test('the example is valid, and says what it says it says', () => {
  const loaded = loadConfig({
    path: example,
    env: { WEBHOOK_SECRET: key, CHAT_TOKEN: 'token-1234', SMTP_PASSWORD: 'glaze-1234' },
  });
  if (!loaded.ok) throw new Error(loaded.mistakes.map(formatMistake).join('\n'));
  const { board, services, tell } = loaded.config;
  expect(board).toEqual({
    title: 'Fernhill Pottery',
    listen: { host: '127.0.0.1', port: 7655 },
    timezone: 'Europe/Dublin',
    address: null,
    names: [],
    passphrase: null,
    tokens: [],
    base: '/',
    proxies: [],
  });
  expect(services.map(({ id }) => id)).toEqual([
    'gateway',
    'nas',
    'order-book',
    'shop',
    'photo-archive',
    'bookkeeping',
    'glaze-supplier',
  ]);
  expect(tell.map(({ only }) => only.groups)).toEqual([null, ['Studio'], null]);
});

test('the defaults that the example writes out are those that hold without it', () => {
  const text = readFileSync(example, 'utf8').replace(/^defaults:\n(?: {2}.*\n)+/m, '');
  expect(text).not.toContain('defaults:\n');
  const env = { WEBHOOK_SECRET: key, CHAT_TOKEN: 'token-1234', SMTP_PASSWORD: 'glaze-1234' };
  expect(load(text, { env })).toEqual(loadConfig({ path: example, env }));
});

test('a service of two lines gets all the rest', () => {
  expect(
    configOf('services: [{ name: " Größe & Glaze ", probe: "tcp://[2001:db8::1]:445" }]'),
  ).toEqual({
    board: {
      title: 'Rollcall',
      listen: { host: '127.0.0.1', port: 7655 },
      timezone: expect.any(String),
      address: null,
      names: [],
      passphrase: null,
      tokens: [],
      base: '/',
      proxies: [],
    },
    household: null,
    record: { keepDays: null, backup: null },
    settleMs: 120_000,
    jobs: [],
    planned: [],
    pulse: null,
    tell: [],
    services: [
      {
        id: 'große-glaze',
        name: 'Größe & Glaze',
        group: null,
        open: null,
        note: null,
        needs: [],
        through: [],
        objective: null,
        urgent: false,
        everyMs: 30_000,
        timeoutMs: 5_000,
        recheckMs: 5_000,
        confirm: 2,
        restore: 1,
        unanswered: 'down',
        unsteady: 'hold',
        slowMs: null,
        probe: { kind: 'tcp', host: '2001:db8::1', port: 445 },
        where: '[2001:db8::1]:445',
        fingerprint: expect.stringMatching(/^[0-9a-f]{32}$/),
      },
    ],
  });
});

test('the time zone of the machine is one that the platform knows', () => {
  const { timezone } = configOf('services: [{ name: Shop, probe: "tcp://nas:1" }]').board;
  expect(() => new Intl.DateTimeFormat('en', { timeZone: timezone })).not.toThrow();
});

test('a service overrides the defaults', () => {
  const service = serviceOf(
    'every: 1m, timeout: 2s, confirm: 5, restore: 3, recheck: 20s, unanswered: unobserved, slow: 1500ms',
    'every: 10s, timeout: 1s, confirm: 4, restore: 2, recheck: 1s, unanswered: down',
  );
  expect(service).toMatchObject({
    everyMs: 60_000,
    timeoutMs: 2_000,
    confirm: 5,
    restore: 3,
    recheckMs: 20_000,
    unanswered: 'unobserved',
    slowMs: 1_500,
  });
  expect(serviceOf('', 'every: 10s, confirm: 4, settle: 0s')).toMatchObject({
    everyMs: 10_000,
    confirm: 4,
  });
});

test('what is inherited gives way to the own interval', () => {
  expect(serviceOf('every: 2s')).toMatchObject({
    everyMs: 2_000,
    timeoutMs: 2_000,
    recheckMs: 2_000,
  });
});

test('a probe is never asked more often than its manners allow', () => {
  const [service] = configOf(
    'services: [{ name: DB, probe: "postgres://db:5432", every: 1s, recheck: 500ms }]',
  ).services;
  expect(service).toMatchObject({ everyMs: 1_000, recheckMs: 1_000 });
});

test.each([
  ['100%', 1],
  ['99.5%', 0.995],
  ['99.9%', 0.999],
  ['99.95%', 0.9995],
  ['0%', 0],
])('an objective of %s is %d', (written, expected) => {
  expect(serviceOf(`objective: ${written}`).objective).toBe(expected);
});

test('the board may listen on a name, every address or an IPv6 address', () => {
  const listenOf = (listen: string) =>
    configOf(`board: { listen: "${listen}" }\nservices: [{ name: Shop, probe: "tcp://nas:1" }]`)
      .board.listen;
  expect(listenOf('0.0.0.0:80')).toEqual({ host: '0.0.0.0', port: 80 });
  expect(listenOf('[::1]:0')).toEqual({ host: '::1', port: 0 });
  expect(listenOf('nas.fernhill.home.arpa:7655')).toEqual({
    host: 'nas.fernhill.home.arpa',
    port: 7655,
  });
});

test('the board may go by further host names, each without port and no address', () => {
  const text = (names: string) =>
    `board: { names: ${names} }\nservices: [{ name: Shop, probe: "tcp://nas:1" }]`;
  expect(configOf(text('[Board.Fernhill.home.arpa, nas, 3d-printer]')).board.names).toEqual([
    'board.fernhill.home.arpa',
    'nas',
    '3d-printer',
  ]);
  const expected = 'expected a host name without port, such as board.fernhill.home.arpa';
  for (const [name, meant] of [
    ['https://Board.fernhill.example:8443/', 'board.fernhill.example'],
    ['board.fernhill.example:7655', 'board.fernhill.example'],
    ['192.0.2.7', null],
    ['2001:db8::7', null],
    ['-nas', null],
    ['', null],
  ] as const) {
    const end = meant === null ? expected : `${expected} (did you mean ${meant}?)`;
    expect(configError(mistakesIn(text(`["${name}"]`))).message).toContain(end);
  }
  expect(configError(mistakesIn(text('nas'))).message).toContain('did you mean [nas]?');
});

test('the fingerprint is that of the question: of its settings, not of their order or of names and intervals', () => {
  const fingerprintOf = (lines: string) =>
    configOf(`services: [{ ${lines} }]`).services[0]?.fingerprint;
  const first = fingerprintOf('name: A, probe: { kind: tcp, host: nas, port: 1 }');
  expect(fingerprintOf('name: B, probe: "tcp://nas:1", every: 1m')).toBe(first);
  expect(fingerprintOf('name: A, probe: { port: 1, host: nas, kind: tcp }')).toBe(first);
  expect(fingerprintOf('name: A, probe: "tcp://nas:2"')).not.toBe(first);
  const withHeaders = (headers: string) =>
    fingerprintOf(`name: A, probe: { kind: http, url: "https://x.example/", headers: ${headers} }`);
  expect(withHeaders('{ X-A: "1", X-B: "2" }')).toBe(withHeaders('{ X-B: "2", X-A: "1" }'));
  expect(withHeaders('{ X-A: "1", X-B: "2" }')).not.toBe(withHeaders('{ X-A: "2", X-B: "1" }'));
  expect(fingerprintOf('name: A, probe: { kind: tcp, host: nas, port: 1, send: x }')).not.toBe(
    first,
  );
});

test('where a service is asked never shows what was put in from outside', () => {
  const loaded = load(
    'services: [{ name: Shop, probe: "https://shop.example/in/${KEY}?a=${KEY}" }]',
    {
      env: { KEY: 'path-key-1234' },
    },
  );
  if (!loaded.ok) throw new Error('expected a valid configuration');
  expect(loaded.config.services[0]?.where).toBe('https://shop.example/in/••••');
  expect(loaded.config.services[0]?.probe).toMatchObject({
    url: 'https://shop.example/in/path-key-1234?a=path-key-1234',
  });
});

test('a host that was put in from outside is no secret; passwords and queries written in the file are', () => {
  const loaded = load(
    'services: [{ name: Shop, probe: "https://u:pa%20ss@${HOST}/x?key=query-1234" }]',
    { env: { HOST: 'shop.fernhill.home.arpa' } },
  );
  if (!loaded.ok) throw new Error('expected a valid configuration');
  expect(loaded.secrets.toSorted()).toEqual(['pa ss', 'pa%20ss', 'query-1234']);
  expect(loaded.config.services[0]?.where).toBe('https://shop.fernhill.home.arpa/x');
});

test('what stands on the board anyway is no secret, put in from outside or not', () => {
  const text = `
board: { title: "\${T}", names: ["\${B}"] }
services: [{ name: "\${N}", group: "\${G}", probe: { kind: tcp, host: "\${H}", port: "\${P}", send: "\${S}" } }]`;
  const outside = {
    T: 'Fernhill',
    B: 'board.fernhill.example',
    N: 'Order book',
    G: 'Data',
    H: 'nas.home.arpa',
    P: '5432',
    S: 'hello',
  };
  const loaded = load(text, { env: outside });
  expect(loaded.ok && loaded.secrets).toEqual(['hello']);
});

test('a card holds what may be known of a service, and nothing of its settings', () => {
  const service = serviceOf('group: Studio, open: "https://shop.example/", note: Kiln');
  expect(cardOf(service)).toEqual({
    id: 'shop',
    name: 'Shop',
    group: 'Studio',
    kind: 'tcp',
    where: 'nas:445',
    open: 'https://shop.example/',
    note: 'Kiln',
    needs: [],
    through: [],
    objective: null,
    everyMs: 30_000,
  });
});

test('a service fits what the pure parts ask of it', () => {
  expectTypeOf<Service>().toExtend<Policy>();
  expectTypeOf(cardOf).returns.toEqualTypeOf<ServiceCard>();
});

test('the error of a command has a line for each mistake, as editors read places', () => {
  const error = configError(mistakesIn('board: { titel: x, listn: y }\nservices: []'));
  expect(error.code).toBe('config-invalid');
  expect(error.message.split('\n')).toEqual([
    '/etc/rollcall/rollcall.yaml:1:10: `board.titel`: unknown key; did you mean `title`?',
    '/etc/rollcall/rollcall.yaml:1:20: `board.listn`: unknown key; did you mean `listen`?',
    '/etc/rollcall/rollcall.yaml:2:11: `services`: found an empty list, expected at least one service',
  ]);
});
