/** The board in a real browser: what a person reads, on any width, in any theme, on paper, with and without script. */
import { AxeBuilder } from '@axe-core/playwright';
import type { Browser, BrowserContextOptions, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, expect, test } from 'vitest';
import type { Standing } from '../../src/base/standing.ts';
import { fernhill } from '../serve/fernhill.ts';
import {
  dayMs,
  hourMs,
  type Member,
  minuteMs,
  now,
  type Scene,
  sceneOf,
  silent,
} from '../serve/scene.ts';
import { needs } from '../support/peers.ts';
import { builtAssets, chromiumPath, launch, listen, overflow, shown, visit } from './browser.ts';

const three: readonly Member[] = [
  {
    id: 'shop',
    name: 'Shop',
    group: 'Studio',
    kind: 'http',
    past: [{ state: 'up', agoMs: 2 * dayMs }],
  },
  {
    id: 'order-book',
    name: 'Order book',
    group: 'Studio',
    kind: 'postgres',
    note: 'Container "orders-db".',
    open: 'https://orders.fernhill.home.arpa/',
    past: [
      { state: 'up', agoMs: 2 * dayMs },
      { state: 'down', agoMs: 28 * minuteMs },
    ],
  },
  {
    id: 'remote-access',
    name: 'Remote access',
    kind: 'wireguard',
    past: [{ state: 'unobserved', agoMs: 3 * hourMs, trouble: silent }],
  },
];

/** Markup where text belongs, and words that cannot be broken. */
const hostile: Member = {
  id: 'hostile',
  name: '<script>alert("Rollcall")</script>',
  group: 'Vessels'.repeat(15),
  where: `${'kiln-'.repeat(50)}fernhill.home.arpa:80`,
  note: `<img src=x onerror=alert(1)> ${'x'.repeat(300)}`,
  facts: { banner: `<svg onload=alert(1)> ${'y'.repeat(180)}` },
  past: [
    { state: 'up', agoMs: 3 * dayMs },
    { state: 'down', agoMs: hourMs },
    { state: 'up', agoMs: 10 * minuteMs },
  ],
};

needs('chromium', chromiumPath)('the board in a browser', () => {
  let browser: Browser;
  let assets: Awaited<ReturnType<typeof builtAssets>>;
  const scenes: Scene[] = [];
  const closings: (() => Promise<void>)[] = [];

  beforeAll(async () => {
    [browser, assets] = await Promise.all([launch(), builtAssets()]);
  });
  afterEach(async () => {
    await Promise.all(closings.splice(0).map((close) => close()));
  });
  afterAll(async () => {
    await browser?.close();
    await Promise.all(scenes.map(({ app }) => app.close()));
    assets?.remove();
  });

  async function board(members: readonly Member[]): Promise<{ scene: Scene; base: string }> {
    const scene = await sceneOf(members, { assets: assets.url });
    scenes.push(scene);
    return { scene, base: await listen(scene) };
  }

  async function open(url: string, options: BrowserContextOptions = {}) {
    const opened = await visit(browser, url, options);
    closings.push(opened.close);
    return opened;
  }

  /** A page whose timers run only when they are told to. */
  async function openTimed(base: string) {
    const opened = await open('about:blank');
    await opened.page.clock.install();
    await opened.page.goto(base);
    return opened;
  }

  /** Every kind of page, the hostile ones among them. */
  async function everyPage(): Promise<readonly string[]> {
    const { scene, base } = await board([...fernhill, hostile]);
    const outage = scene.standings.get('order-book')?.outage?.id;
    const paths = [
      '/',
      '/services/order-book',
      '/services/hostile',
      `/outages/${outage}`,
      '/nothing',
    ];
    return paths.map((path) => base + path);
  }

  const headline = (page: Page) => shown(page.getByRole('heading', { level: 1 }));

  test('a person reads how things are, what is wrong, and everybody by name', async () => {
    const { base } = await board(three);
    const { page, complaints } = await open(base);
    expect(await page.title()).toBe('1 down · Fernhill Pottery');
    expect(await headline(page)).toBe(
      'Order book has been down since 09:14; 1 other answers; 1 is not observed.',
    );
    const wrong = await shown(page.getByRole('article', { name: 'Order book down' }));
    expect(wrong).toContain('Nothing listens on db.fernhill.home.arpa:5432.');
    expect(wrong).toContain('Container "orders-db".');
    const rows = await Promise.all((await page.getByRole('row').all()).map(shown));
    expect(rows).toEqual([
      expect.stringMatching(/^Group Service State Last answer Last 24 hours .*Last 30 days$/),
      expect.stringMatching(/^Remote access wireguard, details not observed since 06:42/),
      expect.stringMatching(/^Studio Shop http, details up since 23 Nov, 09:42 .* ms 100 %/),
      expect.stringMatching(/^Order book postgres, details down since 09:14/),
    ]);
    const strip = page.getByRole('img', { name: /^Last 24 hours: .* down for 28 min/ });
    expect(await strip.count()).toBe(1);
    expect(complaints).toEqual([]);
  });

  test('the ways lead to the pages, by keyboard too', async () => {
    const { base } = await board(three);
    const { page, complaints } = await open(base);
    await page.getByRole('link', { name: 'Details of Shop' }).focus();
    await page.keyboard.press('Enter');
    await page.waitForURL(`${base}/services/shop`);
    expect(await headline(page)).toBe('Shop has been up since 23 Nov, 09:42.');
    await page.getByRole('link', { name: 'Fernhill Pottery' }).click();
    await page.getByRole('link', { name: 'This outage of Order book' }).click();
    expect(await headline(page)).toBe('Order book has been down for 28 min.');
    expect(complaints).toEqual([]);
  });

  test('a name with markup is read as it was written, and nothing of it runs', async () => {
    const { base } = await board([hostile]);
    for (const path of ['/', '/services/hostile']) {
      const { page, complaints } = await open(base + path);
      expect(await shown(page.getByRole('main'))).toContain('<script>alert("Rollcall")</script>');
      expect(await page.locator('main script, main img, main [onload]').count()).toBe(0);
      expect(complaints).toEqual([]);
    }
  });

  test('no width makes a page scroll sideways', async () => {
    const { page } = await open('about:blank');
    for (const url of await everyPage()) {
      await page.goto(url);
      for (const width of [320, 375, 640, 900, 1216, 1440]) {
        await page.setViewportSize({ width, height: 800 });
        expect(await overflow(page), `${url} at ${width} px`).toBe(0);
      }
    }
  });

  test.each([
    ['light', 1440],
    ['light', 375],
    ['dark', 1440],
  ] as const)('nothing bars anybody from a page: %s, %i px (axe)', async (colorScheme, width) => {
    const { page } = await open('about:blank', { colorScheme, viewport: { width, height: 900 } });
    for (const url of await everyPage()) {
      await page.goto(url);
      // Beside the usual rules those of level AAA for contrast, and the size of targets (WCAG 2.2, 2.5.8).
      const { violations } = await new AxeBuilder({ page })
        .options({
          rules: { 'color-contrast-enhanced': { enabled: true }, 'target-size': { enabled: true } },
        })
        .analyze();
      const said = violations.map(({ id, nodes }) => `${id}: ${nodes.map((node) => node.html)}`);
      expect(said, url).toEqual([]);
    }
  });

  test('the dark theme is dark, the light one light, and paper is black on white', async () => {
    const { base } = await board(three);
    const { page } = await open(base);
    const colours = async (media: Parameters<Page['emulateMedia']>[0]) => {
      await page.emulateMedia(media);
      return page.evaluate<string[]>(
        'const { color, backgroundColor } = getComputedStyle(document.documentElement); [color, backgroundColor]',
      );
    };
    expect(await colours({ colorScheme: 'light' })).toEqual([
      'rgb(23, 32, 46)',
      'rgb(252, 252, 249)',
    ]);
    expect(await colours({ colorScheme: 'dark' })).toEqual([
      'rgb(233, 230, 221)',
      'rgb(20, 24, 31)',
    ]);
    expect(await colours({ media: 'print' })).toEqual(['rgb(0, 0, 0)', 'rgb(255, 255, 255)']);
    // Nobody presses a link on paper.
    expect(await page.getByRole('link', { name: 'Open Order book' }).isVisible()).toBe(false);
    expect(await page.getByRole('heading', { level: 1 }).isVisible()).toBe(true);
    expect((await page.pdf({ format: 'A4' })).subarray(0, 5).toString()).toBe('%PDF-');
  });

  test('without script the page is complete', async () => {
    const { base } = await board(three);
    const { page, complaints } = await open(base, { javaScriptEnabled: false });
    expect(await page.getByRole('row').count()).toBe(4);
    expect(complaints).toEqual([]);
  });

  test('with script it follows: a change is there a moment later, focus and scroll stay', async () => {
    const { scene, base } = await board(fernhill);
    const { page, complaints } = await openTimed(base);
    const link = page.getByRole('link', { name: 'Details of Name server' });
    await link.focus();
    await page.evaluate('window.scrollTo(0, 500)');
    restore(scene, 'order-book');
    await page.clock.runFor(15_000);
    await expect.poll(() => page.title()).toBe('1 down · Fernhill Pottery');
    expect(await headline(page)).toMatch(/^Shop has been down since 09:14; 7 others answer/);
    expect(await link.evaluate((element) => element.matches(':focus'))).toBe(true);
    expect(await page.evaluate('window.scrollY')).toBe(500);
    // For those who hear the page.
    expect(await shown(page.locator('#said'))).toMatch(/^Shop has been down/);
    expect(complaints).toEqual([]);
  });

  test('whoever marks a text keeps it marked', async () => {
    const { scene, base } = await board(three);
    const { page } = await openTimed(base);
    await page.evaluate("getSelection().selectAllChildren(document.querySelector('h1'))");
    restore(scene, 'order-book');
    const answered = page.waitForResponse(`${base}/`);
    await page.clock.runFor(15_000);
    await (await answered).finished();
    expect(await page.evaluate('String(getSelection())')).toContain('Order book has been down');
    await page.evaluate('getSelection().removeAllRanges()');
    await page.clock.runFor(15_000);
    await expect.poll(() => headline(page)).toMatch(/^2 services answer/);
  });

  test('when nobody answers any more the page says how old it is, and recovers', async () => {
    const { scene, base } = await board(three);
    const { page } = await openTimed(base);
    await page.route('**/*', (route) => route.abort());
    for (let tries = 0; tries < 4; tries++) {
      const tried = page.waitForEvent('requestfailed');
      await page.clock.runFor(15_000);
      await tried;
    }
    const stale = page.locator('#stale');
    await expect
      .poll(() => shown(stale))
      .toBe(
        'Not updated since Wednesday 25 November 2026, 09:42:10. Rollcall does not answer.',
      );
    expect(await page.getByRole('row').count()).toBe(4);
    await page.unroute('**/*');
    await scene.clock.advance(minuteMs);
    await page.clock.runFor(15_000);
    await expect.poll(() => shown(stale)).toBe('');
    expect(await shown(page.locator('.date'))).toContain('09:43:10');
  });
});

/** It answers again from now on. */
function restore({ standings }: Scene, id: string): void {
  const standing = standings.get(id) as Standing;
  standings.set(id, { ...standing, state: 'up', since: now, outage: null });
}
