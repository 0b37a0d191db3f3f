/** Values from the environment and from files. */
// biome-ignore-all lint/suspicious/noTemplateCurlyInString: the configuration's own variables are what is tested
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect, onTestFinished, test } from 'vitest';
import { loadConfig } from '../../src/config/load.ts';
import { complaints, dedent, load } from '../support/config-text.ts';

const key = `whsec_${Buffer.alloc(32, 7).toString('base64')}`;

function channelOf(text: string, around: Parameters<typeof load>[1]) {
  const loaded = load(
    `services: [{ name: Shop, probe: "tcp://nas:1" }]\ntell:\n${dedent(text)}`,
    around,
  );
  if (!loaded.ok) throw new Error(loaded.mistakes.map(({ message }) => message).join('\n'));
  return { channel: loaded.config.tell[0], secrets: loaded.secrets };
}

test('a variable stands for its value, alone or within a text, and becomes a secret', () => {
  const { channel, secrets } = channelOf(
    `
    - name: phone
      webhook: https://hooks.example/in/\${HOOK}
      secret: \${KEY}
      headers: { Authorization: "Bearer \${TOKEN}", Accept: "text/\${SORT}" }
    `,
    { env: { HOOK: 'hook-9876', KEY: key, TOKEN: 'token-1234', SORT: 'plain' } },
  );
  expect(channel).toMatchObject({
    webhook: 'https://hooks.example/in/hook-9876',
    secret: key,
    headers: { Authorization: 'Bearer token-1234', Accept: 'text/plain' },
  });
  expect([...secrets].sort()).toEqual(
    [
      'hook-9876',
      'https://hooks.example/in/hook-9876',
      key,
      'token-1234',
      'Bearer token-1234',
    ].sort(),
  );
});

test('$$ before a brace is a dollar sign', () => {
  const loaded = load('services: [{ name: "$${SHOP}", probe: "tcp://nas:1" }]');
  expect(loaded.ok && loaded.config.services[0]?.name).toBe('${SHOP}');
});

test('where a number or a truth value is wanted, the text of a variable is read as one, and else stays a text', () => {
  const loaded = load(
    `
services:
  - { name: "\${N}", probe: { kind: tcp, host: nas, port: "\${P}", send: "\${N}" } }
  - name: Shop
    probe:
      kind: http
      url: https://shop.example/
      expect: { status: "\${S}", json: { path: $.a, equals: "\${S}" } }
      redirects: { follow: "\${F}" }
`,
    { env: { P: '445', N: '2024', S: '204', F: 'false' } },
  );
  if (!loaded.ok) throw new Error(loaded.mistakes.map(({ message }) => message).join('\n'));
  const [first, second] = loaded.config.services;
  expect(first).toMatchObject({ name: '2024', probe: { port: 445, send: '2024' } });
  expect(second?.probe).toMatchObject({
    expect: { status: [204], json: { equals: '204' } },
    redirects: { follow: false },
  });
});

test('a text of digits that fits neither as text nor as number is told as a text', () => {
  const text = 'services: [{ name: Shop, id: "${I}", probe: "tcp://nas:1", open: "${I}" }]';
  expect(complaints(text, { env: { I: '1234' } })).toEqual([
    '1:66 `open` of Shop: found a secret from `${I}`, expected an address that begins with http:// or https://',
  ]);
});

test('a missing variable is named, with the nearest that there is, and nothing else is said of its value', () => {
  const text = `
    services:
      - name: Shop
        probe: tcp://\${HOST}:445
        every: \${EVERY}
  `;
  expect(complaints(text, { env: { HOTS: 'nas' } })).toEqual([
    '3:12 `probe` of Shop: the environment has no `${HOST}`; did you mean `${HOTS}`?',
    '4:12 `every` of Shop: the environment has no `${EVERY}`',
  ]);
});

test('what begins like a variable and is none is told', () => {
  expect(complaints('services: [{ name: "${A-B}", probe: "tcp://nas:1" }]')).toEqual([
    '1:20 `name` of service 1: expected `${NAME}`, a name of letters, digits and _ in braces; for the signs themselves write `$${`',
  ]);
});

test('file: and a path stand for the trimmed content, relative to the configuration', () => {
  const text = `
    - name: phone
      webhook: https://hooks.example/
      secret: file:keys/hook
      headers: { X-Token: "file:/run/\${WHICH}/token" }
    `;
  const files = { '/etc/rollcall/keys/hook': `${key}\n`, '/run/secrets/token': ' token-1234\n' };
  const { channel, secrets } = channelOf(text, { files, env: { WHICH: 'secrets' } });
  expect(channel).toMatchObject({ secret: key, headers: { 'X-Token': 'token-1234' } });
  expect(secrets).toEqual(expect.arrayContaining([key, 'token-1234']));
});

test('a file that cannot serve is named, with what is wrong with it', () => {
  const text = `
    services: [{ name: Shop, probe: "tcp://nas:1" }]
    tell:
      - name: one
        webhook: https://hooks.example/
        secret: file:none
      - name: two
        webhook: https://hooks.example/
        secret: file:/run/long
      - name: three
        webhook: https://hooks.example/
        secret: file:/run/bytes
      - name: four
        webhook: https://hooks.example/
        secret: file:/run/empty
  `;
  const files = {
    '/run/long': 'x'.repeat(65_537),
    '/run/bytes': Uint8Array.of(0xff, 0xfe),
    '/run/empty': ' \n',
  };
  expect(complaints(text, { files })).toEqual([
    '5:13 `secret` of one: the file /etc/rollcall/none is not there',
    '8:13 `secret` of two: the file /run/long is longer than 64 KiB',
    '11:13 `secret` of three: the file /run/bytes is not a text in UTF-8',
    '14:13 `secret` of four: the file /run/empty is empty',
  ]);
});

test('what people read is never taken for a file, nor is a file:// address', () => {
  const loaded = load(`
board: { title: "file:title" }
services:
  - name: file:name
    group: file:group
    note: file:note
    probe: { kind: tcp, host: nas, port: 1, send: "file:///x" }
`);
  if (!loaded.ok) throw new Error('expected a valid configuration');
  expect(loaded.config.board.title).toBe('file:title');
  expect(loaded.config.services[0]).toMatchObject({
    name: 'file:name',
    group: 'file:group',
    note: 'file:note',
    probe: { send: 'file:///x' },
  });
});

test('a variable whose value looks like a file is a text', () => {
  const loaded = load(
    'services: [{ name: Shop, probe: { kind: tcp, host: nas, port: 1, send: "${S}" } }]',
    {
      env: { S: 'file:/etc/hostname' },
    },
  );
  expect(loaded.ok && loaded.config.services[0]?.probe).toMatchObject({
    send: 'file:/etc/hostname',
  });
});

test('from the disk: the configuration, and what it names beside it', () => {
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-config-'));
  onTestFinished(() => rmSync(folder, { recursive: true }));
  const path = join(folder, 'rollcall.yaml');
  writeFileSync(join(folder, 'key'), `${key}\n`);
  writeFileSync(
    path,
    'services: [{ name: Shop, probe: "tcp://nas:1" }]\ntell: [{ name: phone, webhook: "https://hooks.example/", secret: "file:key" }]',
  );
  const loaded = loadConfig({ path, env: {} });
  expect(loaded.ok && loaded.config.tell[0]).toMatchObject({ secret: key });
  writeFileSync(
    path,
    'services: [{ name: Shop, probe: "tcp://nas:1" }]\ntell: [{ name: phone, webhook: "https://hooks.example/", secret: "file:." }]',
  );
  const wrong = loadConfig({ path, env: {} });
  expect(wrong.ok || wrong.mistakes).toEqual([
    {
      file: path,
      line: 2,
      column: 66,
      path: 'tell[0].secret',
      message: `\`secret\` of phone: the file ${folder} is a folder`,
    },
  ]);
});

test('a configuration that is not there, or is a folder, is named', () => {
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-config-'));
  onTestFinished(() => rmSync(folder, { recursive: true }));
  const path = join(folder, 'none.yaml');
  const place = { line: 1, column: 1, path: '' };
  expect(loadConfig({ path, env: {} })).toEqual({
    ok: false,
    mistakes: [{ file: path, ...place, message: `the configuration ${path} is not there` }],
  });
  expect(loadConfig({ path: folder, env: {} })).toEqual({
    ok: false,
    mistakes: [{ file: folder, ...place, message: `the configuration ${folder} is a folder` }],
  });
});
