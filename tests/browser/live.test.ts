/** The board in a real browser, signed in and followed live: what a person does on a page stays while the page changes. */
import type { Browser, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, expect, test } from 'vitest';
import { type Happening, type Happenings, happenings } from '../../src/base/happenings.ts';
import type { Acts } from '../../src/serve/acts.ts';
import { guarded, passphrase } from '../serve/guarded.ts';
import {
  dayMs,
  hourMs,
  type Member,
  minuteMs,
  now,
  refused,
  type Scene,
  sceneOf,
} from '../serve/scene.ts';
import { needs } from '../support/peers.ts';
import { builtAssets, chromiumPath, launch, listen, shown, visit } from './browser.ts';

/** A page may need a moment on a busy machine. */
const within = { timeout: 15_000 };

const members: readonly Member[] = [
  { id: 'shop', name: 'Shop', past: [{ state: 'up', agoMs: 2 * dayMs }] },
  {
    id: 'order-book',
    name: 'Order book',
    past: [
      { state: 'up', agoMs: 5 * hourMs },
      { state: 'down', agoMs: 28 * minuteMs },
    ],
  },
];

needs('chromium', chromiumPath)('the live board in a browser', () => {
  let browser: Browser;
  let assets: Awaited<ReturnType<typeof builtAssets>>;
  const closings: (() => Promise<unknown>)[] = [];

  beforeAll(async () => {
    [browser, assets] = await Promise.all([launch(), builtAssets()]);
  });
  afterEach(async () => {
    for (const close of closings.splice(0).reverse()) await close();
  });
  afterAll(async () => {
    await browser?.close();
    assets?.remove();
  });

  interface Live {
    readonly scene: Scene;
    readonly base: string;
    readonly house: Happenings;
    readonly asked: string[];
  }

  async function live(): Promise<Live> {
    const house = happenings(() => {});
    const asked: string[] = [];
    const acts: Acts = {
      askNow: async (id) => void asked.push(id),
      testChannel: async (name) => {
        asked.push(name);
        return { delivered: true, detail: 'answered 204' };
      },
    };
    const tells = {
      channels: [{ name: 'Phone', lastDeliveredAt: null, lastFailure: null, waitingCount: 0 }],
      deadLetters: [],
    };
    const options = { assets: assets.url, access: guarded, listen: house.listen, acts, tells };
    const scene = await sceneOf(members, { answers: false, ...options });
    closings.push(() => scene.app.close());
    return { scene, base: await listen(scene), house, asked };
  }

  async function open(url: string, options = {}) {
    const opened = await visit(browser, url, options);
    closings.push(opened.close);
    return opened;
  }

  /** Through the form, as a person does. */
  async function signIn(page: Page): Promise<void> {
    await page.getByLabel('Passphrase').fill(passphrase);
    await page.getByRole('button', { name: 'Sign in' }).click();
    await page.waitForURL((url) => url.pathname !== '/sign-in');
  }

  /** The service is asked, and stands otherwise from now on. */
  function fall({ scene, house }: Live, id: string): void {
    const standing = scene.standings.get(id);
    const last = standing?.last;
    if (!standing || !last) throw new Error(`no ${id}`);
    const observation = { ...last, outcome: 'failed', trouble: refused } as const;
    scene.standings.set(id, { ...standing, state: 'down', since: now, last: observation });
    const change = {
      from: 'up',
      to: 'down',
      since: now,
      decidedAt: now,
      causeId: null,
      outageId: null,
    } as const;
    house.tell({ serviceId: id, observation, change } satisfies Happening);
  }

  /** The stream is there: what happens from now on is heard. */
  const streaming = (page: Page) =>
    page.waitForResponse((answer) => answer.url().endsWith('/live') && answer.status() === 200);

  const outagePath = ({ scene }: Live) =>
    `/outages/${scene.standings.get('order-book')?.outage?.id}`;

  test('a person who opens a link signs in and is there', async () => {
    const board = await live();
    const { page, complaints } = await open(board.base + outagePath(board));
    expect(await page.title()).toBe('Sign in');
    await page.getByLabel('Passphrase').fill('not the passphrase');
    await page.keyboard.press('Enter');
    await expect
      .poll(() => shown(page.getByRole('alert')), within)
      .toBe('This is not the passphrase.');
    await signIn(page);
    expect(new URL(page.url()).pathname).toBe(outagePath(board));
    // No script reads the cookie: one that slipped in could not carry it away.
    expect(await page.evaluate('document.cookie')).toBe('');
    expect(complaints.filter((text) => !text.includes('403'))).toEqual([]);
  });

  test('a change shows at once, and a half-filled form, the focus and the place stay', async () => {
    const board = await live();
    const path = outagePath(board);
    const { page, complaints } = await open(board.base + path);
    const stream = streaming(page);
    await signIn(page);
    await stream;
    const note = page.getByLabel('Add a note');
    await note.pressSequentially('The plug was');
    const element = await note.elementHandle();
    await page.evaluate('getSelection().removeAllRanges()');
    const top = () => note.evaluate((area) => area.getBoundingClientRect().top);
    const before = await top();
    board.scene.standings.set('order-book', {
      ...(board.scene.standings.get('order-book') as object),
      state: 'up',
      since: now,
      outage: null,
    } as never);
    const outage = await board.scene.record.outage(path.split('/')[2] ?? '');
    await board.scene.record.commit({
      observations: [],
      memories: [],
      spans: [],
      outages: outage ? [{ ...outage, restoredAt: now }] : [],
      unconfirmed: [],
      notices: [],
    });
    fall(board, 'shop');
    await expect
      .poll(() => shown(page.getByRole('heading', { level: 1 })), within)
      .toBe('Order book was down for 28 min.');
    // It is the very same field, with what was typed, and one types on.
    expect(await element?.evaluate((area) => area.isConnected)).toBe(true);
    await page.keyboard.type(' out.');
    expect(await note.inputValue()).toBe('The plug was out.');
    expect(Math.abs((await top()) - before)).toBeLessThan(200);
    await page.getByRole('button', { name: 'Add' }).click();
    await expect
      .poll(() => shown(page.getByRole('region', { name: 'Notes' })), within)
      .toContain('The plug was out.');
    expect(complaints).toEqual([]);
  });

  test('title and icon carry the state, in a tab that only stands there', async () => {
    const board = await live();
    const { page } = await open(board.base);
    const stream = streaming(page);
    await signIn(page);
    await stream;
    expect(await page.title()).toBe('1 down · Fernhill Pottery');
    const icon = () => page.locator('link[rel="icon"]').getAttribute('href');
    expect(await icon()).toContain('/assets/down.');
    fall(board, 'shop');
    await expect.poll(() => page.title(), within).toBe('2 down · Fernhill Pottery');
  });

  test('what comes in before it takes the focus from nothing', async () => {
    const board = await live();
    const { page } = await open(board.base);
    const stream = streaming(page);
    await signIn(page);
    await stream;
    const link = page.getByRole('link', { name: 'Details of Shop' }).last();
    await link.focus();
    fall(board, 'shop');
    await expect.poll(() => page.getByRole('article').count(), within).toBe(2);
    expect(await link.evaluate((one) => one.matches(':focus'))).toBe(true);
  });

  test('when the stream breaks and nobody answers the page says how old it is', async () => {
    const board = await live();
    const { page } = await open('about:blank');
    await page.clock.install();
    await page.goto(board.base);
    const stream = streaming(page);
    await signIn(page);
    await stream;
    await page.route('**/*', (route) => route.abort());
    await board.scene.app.close();
    for (let tries = 0; tries < 5; tries++) {
      const tried = page.waitForEvent('requestfailed');
      await page.clock.runFor(15_000);
      await tried;
    }
    await expect
      .poll(() => shown(page.locator('#stale')), within)
      .toMatch(
        /^Not updated since Wednesday 25 November 2026, 09:42:10\. Rollcall does not answer/,
      );
  });

  test('who signed out in another tab is told so here, and what was typed is not lost', async () => {
    const board = await live();
    const { page } = await open(board.base + outagePath(board));
    const stream = streaming(page);
    await signIn(page);
    await stream;
    await page.getByLabel('Add a note').fill('Half a sentence');
    const other = await page.context().newPage();
    await other.goto(board.base);
    await other.getByRole('button', { name: 'Sign out' }).click();
    await other.waitForURL('**/sign-in');
    fall(board, 'shop');
    await page.bringToFront();
    await expect
      .poll(() => shown(page.locator('#stale')), within)
      .toMatch(/^Not updated since .*\. You are signed out\.$/);
    expect(await page.getByLabel('Add a note').inputValue()).toBe('Half a sentence');
  });

  test('without script the owner acts all the same', async () => {
    const board = await live();
    const { page, complaints } = await open(board.base, { javaScriptEnabled: false });
    await signIn(page);
    await page.getByRole('link', { name: 'Details of Shop' }).click();
    await page.getByRole('button', { name: 'Ask now' }).click();
    expect(new URL(page.url()).hash).toBe('#last');
    await page.getByRole('link', { name: 'Channels' }).click();
    await page.getByRole('button', { name: 'Send a test notice to Phone' }).click();
    expect(await shown(page.getByRole('status'))).toContain('The test notice was delivered');
    await page.getByRole('button', { name: 'Sign out' }).click();
    expect(await page.title()).toBe('Sign in');
    await page.goBack();
    await page.reload();
    expect(await page.title()).toBe('Sign in');
    expect(board.asked).toEqual(['shop', 'Phone']);
    expect(complaints).toEqual([]);
  });

  test('a form on another site does nothing here, signed in or not', async () => {
    const board = await live();
    const { page } = await open(board.base);
    await signIn(page);
    const other = await page.context().newPage();
    const { hostname, port } = new URL(board.base);
    expect(hostname).toBe('127.0.0.1');
    // The same machine by another name is another site to a browser.
    await other.route('http://other.localhost/', (route) =>
      route.fulfill({
        contentType: 'text/html',
        body: `<form method="post" action="http://127.0.0.1:${port}/services/shop/ask"><button>Win</button></form>`,
      }),
    );
    await other.goto('http://other.localhost/');
    const answered = other.waitForResponse((answer) => answer.url().endsWith('/ask'));
    await other.getByRole('button').click();
    expect((await answered).status()).toBe(401);
    expect(board.asked).toEqual([]);
  });
});
