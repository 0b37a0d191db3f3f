/**
 * The board as a household has it: plain HTTP, asked from an address that is not loopback. The one who asks lives in a
 * network namespace of the test; the board listens in this process.
 */
import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { chmodSync, writeFileSync } from 'node:fs';
import type { AddressInfo } from 'node:net';
import { join } from 'node:path';
import { text } from 'node:stream/consumers';
import { type Browser, chromium } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { happenings } from '../../src/base/happenings.ts';
import { createHousehold } from '../../src/serve/household.ts';
import { builtAssets, chromiumPath } from '../browser/browser.ts';
import { guarded, passphrase } from '../serve/guarded.ts';
import { minuteMs, type Scene, sceneOf } from '../serve/scene.ts';
import { needs } from '../support/peers.ts';
import { makeNamespace, type Namespace, namespaceHindrance } from './support/namespace.ts';

const shop = [{ id: 'shop', name: 'Shop', past: [{ state: 'up', agoMs: 60 * minuteMs }] }] as const;

needs(
  'network namespaces',
  '/bin/ip',
  namespaceHindrance,
)('the board in a home network', () => {
  let outside: Namespace;
  /** This machine's end of the cable. */
  let here: string;
  const scenes: Scene[] = [];

  beforeAll(() => {
    outside = makeNamespace();
    here = outside.address.replace(/\d+$/, (last) => String(Number(last) - 1));
  });
  afterAll(async () => {
    await Promise.all(scenes.map(({ app }) => app.close()));
    await outside?.[Symbol.asyncDispose]();
  });

  async function board(host: string, more: object = {}): Promise<{ scene: Scene; port: number }> {
    const listen = { host, port: 0 };
    const base = { title: 'Fernhill Pottery', timezone: 'Europe/Dublin', listen };
    const scene = await sceneOf(shop, { board: base, answers: false, ...more });
    scenes.push(scene);
    await scene.app.listen(listen);
    return { scene, port: (scene.app.server.address() as AddressInfo).port };
  }

  /** Runs in the namespace: what `fetch` gets there, as JSON of status, headers and body. */
  async function fetched(url: string, init: object = {}) {
    const script = `
      fetch(${JSON.stringify(url)}, { redirect: 'manual', signal: AbortSignal.timeout(10_000), ...${JSON.stringify(init)} })
        .then(async (a) => console.log(JSON.stringify({ status: a.status, headers: Object.fromEntries(a.headers), body: await a.text() })))
        .catch((e) => console.log(JSON.stringify({ status: 0, headers: {}, body: String(e.cause?.code ?? e.name) })));`;
    return JSON.parse(await printed(process.execPath, '-e', script)) as {
      readonly status: number;
      readonly headers: Record<string, string>;
      readonly body: string;
    };
  }

  /** Without blocking this process, which has to answer. */
  function inside(program: string, ...args: readonly string[]) {
    const command = ['netns', 'exec', outside.name, program, ...args];
    return spawn('ip', command, { stdio: ['ignore', 'pipe', 'ignore'] });
  }

  /** What a program prints there, to its end. */
  function printed(program: string, ...args: readonly string[]): Promise<string> {
    return text(inside(program, ...args).stdout);
  }

  /** A stream as it is read there: when the first of it comes, and all of it. */
  function streamed(url: string, headers: object) {
    const script = `fetch('${url}', { headers: ${JSON.stringify(headers)} }).then(async ({ body }) => { for await (const chunk of body) process.stdout.write(chunk); })`;
    const { stdout } = inside(process.execPath, '-e', script);
    const ended = text(stdout);
    return { began: once(stdout, 'data'), ended };
  }

  test('is read by its address over plain HTTP, and nothing in it asks for TLS', async () => {
    const { port } = await board('0.0.0.0');
    const { status, headers, body } = await fetched(`http://${here}:${port}/`);
    expect(status).toBe(200);
    expect(body).toContain('Shop');
    expect(headers['content-security-policy']).not.toContain('upgrade-insecure-requests');
    for (const name of ['strict-transport-security', 'cross-origin-opener-policy']) {
      expect(headers).not.toHaveProperty(name);
    }
  });

  test('is not there for the network when it listens on loopback', async () => {
    const { port } = await board('127.0.0.1');
    expect(await fetched(`http://${here}:${port}/`)).toMatchObject({
      status: 0,
      body: 'ECONNREFUSED',
    });
  });

  test('does not go by a name that somebody let point here (DNS rebinding)', async () => {
    const { port } = await board('0.0.0.0');
    const request = `GET /api/v1/roll HTTP/1.1\\r\\nHost: attacker.example:${port}\\r\\nConnection: close\\r\\n\\r\\n`;
    const script = `require('net').connect(${port}, '${here}', function () { this.write('${request}') }).pipe(process.stdout)`;
    const answer = await printed(process.execPath, '-e', script);
    expect(answer).toMatch(/^HTTP\/1\.1 421 /);
    expect(answer).not.toMatch(/shop|fernhill/i);
  });

  test('lets the owner sign in without TLS, and streams with a heartbeat to the end', async () => {
    const house = happenings(() => {});
    const { scene, port } = await board('0.0.0.0', { access: guarded, listen: house.listen });
    const origin = `http://${here}:${port}`;
    expect((await fetched(`${origin}/`)).status).toBe(401);
    const signedIn = await fetched(`${origin}/sign-in`, {
      method: 'POST',
      body: `passphrase=${encodeURIComponent(passphrase)}`,
      headers: { origin, 'content-type': 'application/x-www-form-urlencoded' },
    });
    expect(signedIn.status).toBe(303);
    const cookie = signedIn.headers['set-cookie'] ?? '';
    expect(cookie).toMatch(/HttpOnly; SameSite=Strict$/);
    expect(cookie).not.toContain('Secure');
    const headers = { cookie: cookie.split(';')[0] };
    expect((await fetched(`${origin}/`, { headers })).status).toBe(200);

    const stream = streamed(`${origin}/live`, headers);
    await stream.began;
    await scene.clock.advance(20_000);
    await scene.app.close();
    expect(await stream.ended).toContain(': still here\n\n');
  });

  test('the page of the household is on its own port, with names and states', async () => {
    const { scene } = await board('127.0.0.1');
    const household = await createHousehold(scene.options, '0.0.0.0');
    await household.listen({ host: '0.0.0.0', port: 0 });
    const { port } = household.server.address() as AddressInfo;
    const { status, body } = await fetched(`http://${here}:${port}/`);
    expect([status, body.includes('<h1>Shop answers.</h1>')]).toEqual([200, true]);
    expect((await fetched(`http://${here}:${port}/api/v1/roll`)).status).toBe(404);
    await household.close();
  });

  needs('chromium', chromiumPath)('in a browser there', () => {
    let browser: Browser;
    let assets: Awaited<ReturnType<typeof builtAssets>>;
    beforeAll(async () => {
      const program = join(outside.folder, 'chromium-outside');
      writeFileSync(
        program,
        `#!/bin/sh\nexec ip netns exec ${outside.name} ${chromiumPath} "$@"\n`,
      );
      chmodSync(program, 0o755);
      assets = await builtAssets();
      browser = await chromium.launch({
        executablePath: program,
        args: ['--no-sandbox', '--disable-gpu', '--disable-background-networking'],
      });
    });
    afterAll(async () => {
      await browser?.close();
      assets?.remove();
    });

    test('the page has its style and script, and complains of nothing', async () => {
      const house = happenings(() => {});
      const options = { access: guarded, listen: house.listen, assets: assets.url };
      const { port } = await board('0.0.0.0', options);
      const page = await browser.newPage();
      const complaints: string[] = [];
      page.on('console', (message) => {
        if (['error', 'warning'].includes(message.type())) complaints.push(message.text());
      });
      page.on('requestfailed', (request) => complaints.push(request.url()));
      await page.goto(`http://${here}:${port}/`);
      const stream = page.waitForResponse((answer) => answer.url().endsWith('/live'));
      await page.getByLabel('Passphrase').fill(passphrase);
      await page.keyboard.press('Enter');
      expect((await stream).status()).toBe(200);
      expect(await page.evaluate('window.isSecureContext')).toBe(false);
      expect(await page.evaluate('getComputedStyle(document.body).maxWidth')).not.toBe('none');
      expect(await page.title()).toContain('Fernhill Pottery');
      expect(complaints).toEqual([]);
    });
  });
});
