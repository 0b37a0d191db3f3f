/** A real browser for the board: started fresh, kept from the network beyond this machine. */
import { copyFileSync, mkdtempSync, rmSync } from 'node:fs';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { build } from 'esbuild';
import {
  type Browser,
  type BrowserContextOptions,
  chromium,
  type Locator,
  type Page,
} from 'playwright-core';
import type { Scene } from '../serve/scene.ts';

export const chromiumPath = '/usr/bin/chromium';

export function launch(): Promise<Browser> {
  return chromium.launch({
    executablePath: chromiumPath,
    // Playwright makes a new user data folder and asks for `--headless` itself.
    args: [
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
    ],
  });
}

/** The folder that the board serves from after a build: style and bundled script. */
export async function builtAssets(): Promise<{ readonly url: URL; remove(): void }> {
  const web = new URL('../../web/', import.meta.url);
  const folder = mkdtempSync(join(tmpdir(), 'rollcall-web-'));
  copyFileSync(new URL('style.css', web), join(folder, 'style.css'));
  await build({
    entryPoints: [new URL('client/main.ts', web).pathname],
    outfile: join(folder, 'client.js'),
    bundle: true,
    target: 'es2022',
    logLevel: 'warning',
  });
  return {
    url: pathToFileURL(`${folder}/`),
    remove: () => rmSync(folder, { recursive: true, force: true }),
  };
}

/** Port 0 of loopback. */
export async function listen({ app }: Scene): Promise<string> {
  await app.listen({ host: '127.0.0.1', port: 0 });
  return `http://127.0.0.1:${(app.server.address() as AddressInfo).port}`;
}

export interface Visit {
  readonly page: Page;
  /** What the browser complained about: console errors, refused by policy, requests to elsewhere. */
  readonly complaints: string[];
  close(): Promise<void>;
}

export async function visit(
  browser: Browser,
  url: string,
  options: BrowserContextOptions = {},
): Promise<Visit> {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  const complaints: string[] = [];
  page.on('console', (message) => {
    if (['error', 'warning'].includes(message.type())) complaints.push(message.text());
  });
  page.on('pageerror', (error) => complaints.push(String(error)));
  page.on('dialog', (dialog) => {
    complaints.push(`a dialog: ${dialog.message()}`);
    void dialog.dismiss();
  });
  page.on('request', (request) => {
    const elsewhere = new URL(request.url()).hostname !== '127.0.0.1';
    if (elsewhere) complaints.push(`asks ${request.url()}`);
  });
  await page.goto(url);
  return {
    page,
    complaints,
    close: async () => {
      // Chromium may never end a context amid a navigation, so this one takes the place of any that is under way.
      for (const each of context.pages()) await each.goto('about:blank');
      await context.close();
    },
  };
}

/** What a person sees of it, in one line. */
export async function shown(of: Locator): Promise<string> {
  return (await of.allInnerTexts()).join(' ').replace(/\s+/g, ' ').trim();
}

/** How far the page is wider than what shows of it. */
export function overflow(page: Page): Promise<number> {
  return page.evaluate<number>(
    'document.documentElement.scrollWidth - document.documentElement.clientWidth',
  );
}
