/** The board in use: by keyboard alone, and with a thousand services on it. */
import type { Page } from 'playwright-core';
import { expect, test } from 'vitest';
import { fernhill } from '../serve/fernhill.ts';
import { needs } from '../support/peers.ts';
import { chromiumPath, overflow, shown } from './browser.ts';
import { thousand } from './members.ts';
import { browserSession } from './session.ts';

/** What has the focus: its words, and whether one sees that. */
const focusedNow =
  "const e = document.activeElement, s = getComputedStyle(e), b = e.getBoundingClientRect(); ({ tag: e.tagName, href: e.getAttribute('href'), text: e.textContent, ring: s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2, inView: b.top >= -1 && b.bottom <= innerHeight + 1 })";

interface Focused {
  readonly tag: string;
  readonly href: string | null;
  readonly text: string;
  readonly ring: boolean;
  readonly inView: boolean;
}

needs('chromium', chromiumPath)('the board in use', () => {
  const { board, open, openTimed } = browserSession();

  async function walk(page: Page, steps: number): Promise<Focused[]> {
    const seen: Focused[] = [];
    for (let step = 0; step < steps; step++) {
      await page.keyboard.press('Tab');
      // What has the focus is brought into view with the next frame.
      await page.evaluate(
        'new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))',
      );
      seen.push(await page.evaluate<Focused>(focusedNow));
    }
    return seen;
  }

  test('by keyboard alone everything is reached in order, and one always sees where one is', async () => {
    const { base } = await board(fernhill);
    const { page, complaints } = await open(base);
    const wanted = await page.locator('a[href], summary, button, input').count();
    const seen = await walk(page, wanted);
    expect(seen.filter(({ ring }) => !ring)).toEqual([]);
    expect(seen.filter(({ inView }) => !inView)).toEqual([]);
    expect(seen[0]?.text).toBe('Fernhill Pottery');
    const places = await page.evaluate<string[]>(
      "[...document.querySelectorAll('a[href], summary, button, input')].map((e) => e.textContent)",
    );
    expect(seen.map(({ text }) => text)).toEqual(places);
    expect(complaints).toEqual([]);
  });

  test('by keyboard one goes from the roll to a service, to another length of time, to its outage, and back', async () => {
    const { base } = await board(fernhill);
    const { page } = await open(base);
    const press = async (wanted: (focused: Focused) => boolean) => {
      for (let step = 0; step < 60; step++) {
        await page.keyboard.press('Tab');
        if (wanted(await page.evaluate<Focused>(focusedNow))) return page.keyboard.press('Enter');
      }
      throw new Error('it was never reached');
    };
    await press(({ href }) => href === '/services/order-book');
    await page.waitForURL(/\/services\/order-book$/);
    await press(({ text }) => text === 'week');
    await page.waitForURL(/range=week/);
    await press(({ href }) => href?.startsWith('/outages/') ?? false);
    await page.waitForURL(/\/outages\//);
    await press(({ text }) => text === 'Roll');
    await page.waitForURL(`${base}/`);
    await press(({ tag }) => tag === 'SUMMARY');
    await page.locator('details:not([open])').waitFor();
  });

  test('a thousand services: folded where all is up, found as one types, and no wider than the page', async () => {
    const { scene, base } = await board(thousand(), { answers: false });
    const { page, complaints } = await openTimed(base);
    expect(await page.locator('.lane').count()).toBe(1_000);
    expect(await page.locator('details[open]').count()).toBe(3);
    expect(await page.locator('article').count()).toBe(3);
    for (const width of [375, 1440]) {
      await page.setViewportSize({ width, height: 900 });
      expect(await overflow(page)).toBe(0);
    }

    const field = page.getByRole('searchbox', { name: 'Find' });
    await field.pressSequentially('kiln 99 http');
    const visible = page.locator('.lane:visible');
    expect(await visible.count()).toBe(7);
    expect(await shown(page.locator('#found'))).toBe('7 found.');
    // What happens meanwhile changes the page, and leaves what is left out, left out.
    await scene.clock.advance(1_000);
    const answered = page.waitForResponse(`${base}/`);
    await page.clock.runFor(76_000);
    await (await answered).finished();
    await expect.poll(() => shown(page.locator('.date'))).toContain('09:42:11');
    expect(await visible.count()).toBe(7);
    expect(await field.inputValue()).toBe('kiln 99 http');

    await field.fill('');
    expect(await visible.count()).toBeGreaterThanOrEqual(120);
    await field.fill('kiln 99');
    await field.press('Enter');
    await page.waitForURL(/find=kiln\+99$/);
    expect(await page.locator('.lane:visible').count()).toBe(19);
    expect(await shown(page.locator('#found'))).toContain('19 services of 1,000.');
    // Few enough that each has its strip.
    expect(await page.locator('.lane a.day').count()).toBe(19);
    await page.getByRole('link', { name: 'Show all' }).click();
    await page
      .locator('summary')
      .filter({ hasText: /Shed 5 / })
      .click();
    await page.getByRole('link', { name: 'Shed 5 with strips' }).click();
    await page.waitForURL(/group=/);
    expect(await page.locator('.lane a.day').count()).toBe(40);
    expect(complaints).toEqual([]);
  }, 180_000);
});
