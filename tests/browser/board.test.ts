/** The board in a real browser: what a person reads, where the ways lead, and how an open page follows what happens. */
import type { Page } from 'playwright-core';
import { expect, test } from 'vitest';
import type { Standing } from '../../src/base/standing.ts';
import { fernhill } from '../serve/fernhill.ts';
import { minuteMs, now, type Scene } from '../serve/scene.ts';
import { needs } from '../support/peers.ts';
import { chromiumPath, shown } from './browser.ts';
import { three } from './members.ts';
import { browserSession } from './session.ts';

needs('chromium', chromiumPath)('the board in a browser', () => {
  const { board, open, openTimed } = browserSession();
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
    const lanes = await Promise.all((await page.locator('.lane').all()).map(shown));
    expect(lanes).toEqual([
      expect.stringMatching(/^Remote access wireguard not observed since 06:42 .*silent 09:42:00/),
      expect.stringMatching(/^Shop http up since 23 Nov, 09:42 .* ms 09:42:00 .*100 %/),
      expect.stringMatching(/^Order book postgres down since 09:14 .*failed 09:42:00/),
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

  test('the course of a service is chosen by links, as far back as a year', async () => {
    const { base } = await board(three);
    const { page, complaints } = await open(`${base}/services/shop`);
    for (const [name, title] of [
      ['week', 'Last 7 days'],
      ['month', 'Last 30 days'],
      ['year', 'Last 365 days'],
      ['day', 'Last 24 hours'],
    ]) {
      await page.getByRole('link', { name: name ?? '', exact: true }).click();
      await page
        .getByRole('img', { name: new RegExp(`^${title}: answers typically in`) })
        .waitFor();
      expect(await shown(page.locator('[aria-current=page]'))).toBe(name);
    }
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
      .toBe('Not updated since Wednesday 25 November 2026, 09:42:10. Rollcall does not answer.');
    expect(await page.locator('.lane').count()).toBe(3);
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
