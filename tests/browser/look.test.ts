/** Every page as it looks: on three widths, in both themes, on paper, without script; and that nothing bars anybody from it. */
import { AxeBuilder } from '@axe-core/playwright';
import type { Page } from 'playwright-core';
import { expect, test } from 'vitest';
import { createHousehold } from '../../src/serve/household.ts';
import { fernhill } from '../serve/fernhill.ts';
import { hostileJob } from '../serve/jobs-scene.ts';
import { plannedSource } from '../serve/planned-source.ts';
import { nothing } from '../serve/scene.ts';
import { needs } from '../support/peers.ts';
import { chromiumPath, overflow, shown } from './browser.ts';
import { hostile, three } from './members.ts';
import { browserSession } from './session.ts';

/** So many that there is a search field. */
const crowd = Array.from({ length: 8 }, (_, index) => ({
  id: `c${index}`,
  name: `Shelf ${index}`,
  past: [],
}));

needs('chromium', chromiumPath)('the look of the board', () => {
  const { board, open } = browserSession();

  /** Every kind of page, the hostile ones among them; of one board for all tests. */
  const everyPage = () => {
    pages ??= makePages();
    return pages;
  };
  let pages: Promise<readonly string[]> | null = null;

  async function makePages(): Promise<readonly string[]> {
    const members = [...fernhill, ...hostile, ...crowd, hostileJob.member];
    const { scene, base } = await board(members, {
      planned: plannedSource(),
      jobs: hostileJob.source,
    });
    await scene.record.commit({ ...nothing, runs: hostileJob.runs });
    const outageOf = (id: string) => scene.standings.get(id)?.outage?.id;
    const paths = [
      '/',
      '/?find=kiln',
      '/?find=nothing',
      '/services/order-book',
      '/services/order-book?range=week',
      '/services/markup?range=month',
      '/services/hebrew?range=year',
      `/outages/${outageOf('order-book')}`,
      `/outages/${outageOf('hebrew')}`,
      '/jobs/hostile-job',
      '/about',
      '/channels',
      '/planned',
      '/report/2026-11',
      '/nothing',
    ];
    return paths.map((path) => base + path);
  }

  test('no width makes a page scroll sideways', async () => {
    const { page } = await open('about:blank');
    for (const url of await everyPage()) {
      await page.goto(url);
      for (const width of [320, 375, 640, 832, 900, 1216, 1440]) {
        await page.setViewportSize({ width, height: 800 });
        expect(await overflow(page), `${url} at ${width} px`).toBe(0);
      }
    }
  });

  test.each([
    ['light', 375],
    ['light', 900],
    ['light', 1440],
    ['dark', 375],
    ['dark', 900],
    ['dark', 1440],
  ] as const)(
    'nothing bars anybody from a page: %s, %i px (axe)',
    async (colorScheme, width) => {
      const { page, complaints } = await open('about:blank', {
        colorScheme,
        viewport: { width, height: 900 },
      });
      for (const url of await everyPage()) {
        await page.goto(url);
        expect(await barriers(page), url).toEqual([]);
      }
      // That there is nothing at an address is said by its status too.
      expect(complaints.filter((text) => !text.includes('404'))).toEqual([]);
    },
    300_000,
  );

  test('a name stays text, in its own direction, and nothing of it runs', async () => {
    const { base } = await board(hostile);
    for (const path of ['/', '/services/markup', '/services/hebrew']) {
      const { page, complaints } = await open(base + path);
      const text = await shown(page.getByRole('main'));
      expect(text).toContain(
        path === '/services/hebrew' ? 'תנור' : '<script>alert("Rollcall")</script>',
      );
      expect(await page.locator('main script, main img, main [onload]').count()).toBe(0);
      expect(complaints).toEqual([]);
    }
    const { page } = await open(base);
    const directions = await page.evaluate<string[]>(
      "[...document.querySelectorAll('.name')].map((name) => getComputedStyle(name).direction)",
    );
    expect(directions.filter((direction) => direction === 'rtl')).toHaveLength(2);
  });

  test('names of any length leave each part of a lane its place', async () => {
    const { base } = await board(hostile);
    for (const width of [375, 900, 1440]) {
      const { page } = await open(base, { viewport: { width, height: 900 } });
      const lanes = await page.locator('.lane').all();
      expect(lanes).toHaveLength(hostile.length);
      for (const lane of lanes) {
        const boxes = await Promise.all(
          ['.who', '.day', '.reading', '.figures'].map((part) => lane.locator(part).boundingBox()),
        );
        const inside = boxes.map((box) => box ?? { x: -1, y: -1, width: 0, height: 0 });
        for (const { x, width: wide, height } of inside) {
          expect(x).toBeGreaterThanOrEqual(0);
          expect(x + wide).toBeLessThanOrEqual(width);
          expect(height).toBeGreaterThan(10);
        }
        expect(apart(inside), await shown(lane)).toBe(true);
      }
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
  });

  test('every page goes on paper, what is folded too', async () => {
    const { page } = await open('about:blank');
    for (const url of await everyPage()) {
      await page.goto(url);
      const pdf = await page.pdf({ format: 'A4' });
      expect(pdf.subarray(0, 5).toString(), url).toBe('%PDF-');
    }
    const { base } = await board(three);
    await page.goto(base);
    await page.locator('summary').last().click();
    const isSeen = () =>
      page.evaluate<boolean>("[...document.querySelectorAll('.lane')].at(-1).checkVisibility()");
    expect(await isSeen()).toBe(false);
    await page.emulateMedia({ media: 'print' });
    expect(await isSeen()).toBe(true);
  });

  test('the page of the household has each name with its word on one line, on any width, and bars nobody', async () => {
    const { scene } = await board(fernhill);
    const app = await createHousehold(scene.options, '127.0.0.1');
    const base = await app.listen({ host: '127.0.0.1', port: 0 });
    const { page, complaints } = await open(base);
    for (const width of [320, 375, 900, 1440]) {
      await page.setViewportSize({ width, height: 800 });
      expect(await overflow(page)).toBe(0);
      for (const word of await page.locator('.word').all()) {
        expect((await word.boundingBox())?.height).toBeLessThan(40);
      }
    }
    for (const colorScheme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme });
      expect(await barriers(page)).toEqual([]);
    }
    expect(complaints).toEqual([]);
    await app.close();
  }, 120_000);

  test('nothing moves for who does not want it', async () => {
    const { base } = await board(three);
    const { page } = await open(base, { reducedMotion: 'reduce' });
    const moving =
      "[...document.querySelectorAll('*')].filter((element) => { const { transitionDuration, animationName } = getComputedStyle(element); return transitionDuration !== '0s' || animationName !== 'none'; }).length";
    expect(await page.evaluate(moving)).toBe(0);
  });

  test('without script every page is complete, and folding and finding are the browser’s own', async () => {
    const pages = await everyPage();
    const { page, complaints } = await open('about:blank', { javaScriptEnabled: false });
    for (const url of pages.slice(0, -1)) {
      await page.goto(url);
      expect(await page.getByRole('heading', { level: 1 }).count(), url).toBe(1);
    }
    await page.goto(pages[0] ?? '');
    const group = page.locator('details').last();
    await group.locator('summary').click();
    expect(await group.getAttribute('open')).toBeNull();
    await page.getByRole('searchbox', { name: 'Find' }).fill('order');
    await page.getByRole('button', { name: 'Show' }).click();
    await page.waitForURL(/\?find=order$/);
    expect(await page.locator('.lane').count()).toBe(1);
    expect(complaints).toEqual([]);
  });
});

/** What axe finds: beside the usual rules those of level AAA for contrast, and the size of targets (WCAG 2.2, 2.5.8). */
async function barriers(page: Page): Promise<string[]> {
  const { violations } = await new AxeBuilder({ page })
    .options({
      resultTypes: ['violations'],
      rules: { 'color-contrast-enhanced': { enabled: true }, 'target-size': { enabled: true } },
    })
    .analyze();
  return violations.map(({ id, nodes }) => `${id}: ${nodes.map((node) => node.html)}`);
}

interface Box {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/** None of them covers another; a pixel is no matter. */
function apart(boxes: readonly Box[]): boolean {
  return boxes.every((one, index) =>
    boxes
      .slice(index + 1)
      .every(
        (other) =>
          one.x + one.width <= other.x + 1 ||
          other.x + other.width <= one.x + 1 ||
          one.y + one.height <= other.y + 1 ||
          other.y + other.height <= one.y + 1,
      ),
  );
}
