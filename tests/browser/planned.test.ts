/** The owner plans work in a browser, without script, by hand and by keyboard; and the form bars nobody. */
import { AxeBuilder } from '@axe-core/playwright';
import { expect, test } from 'vitest';
import { fernhill } from '../serve/fernhill.ts';
import { guarded, passphrase } from '../serve/guarded.ts';
import { plannedSource, running } from '../serve/planned-source.ts';
import { minuteMs, now } from '../serve/scene.ts';
import { needs } from '../support/peers.ts';
import { chromiumPath, overflow, shown } from './browser.ts';
import { browserSession } from './session.ts';

needs('chromium', chromiumPath)('planned work in a browser', () => {
  const { board, open } = browserSession();

  async function signedIn(javaScriptEnabled: boolean) {
    const planned = plannedSource();
    const { base } = await board(fernhill, { access: guarded, planned });
    const { page, complaints } = await open(`${base}/planned`, { javaScriptEnabled });
    await page.getByLabel('Passphrase').fill(passphrase);
    await page.getByRole('button', { name: 'Sign in' }).click();
    await page.waitForURL(`${base}/planned`);
    return { page, planned, complaints, base };
  }

  test('from now on for a while, on one service, without script', async () => {
    const { page, planned, base } = await signedIn(false);
    await page.getByLabel('For how long').fill('90m');
    await page.getByLabel('Why').fill('New disk');
    await page.getByLabel('Order book', { exact: true }).check();
    await page.getByRole('button', { name: 'Plan it' }).click();
    await page.waitForURL(`${base}/planned`);
    expect(planned.asked).toEqual([
      { why: 'New disk', from: now, to: now + 90 * minuteMs, serviceIds: ['order-book'] },
    ]);
  });

  test('from one time of day to another, as the browser gives it', async () => {
    const { page, planned } = await signedIn(true);
    await page.getByLabel('From; empty: now').fill('2026-12-05T20:00');
    await page.getByLabel('To, in place of how long').fill('2026-12-05T23:30');
    await page.getByRole('button', { name: 'Plan it' }).click();
    await expect.poll(() => planned.asked.length).toBe(1);
    expect(planned.asked[0]).toMatchObject({
      from: Date.parse('2026-12-05T20:00:00Z'),
      to: Date.parse('2026-12-05T23:30:00Z'),
      serviceIds: null,
    });
  });

  test('what runs is ended by its own button, which says what it ends', async () => {
    const { page, planned } = await signedIn(true);
    await page.getByRole('button', { name: `End now ${running.name}` }).click();
    await expect.poll(() => planned.ended).toEqual([running.id]);
  });

  test('the page has room on a phone, and bars nobody', async () => {
    const { page, complaints } = await signedIn(true);
    for (const colorScheme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme });
      for (const width of [320, 900]) {
        await page.setViewportSize({ width, height: 800 });
        expect(await overflow(page)).toBe(0);
        const { violations } = await new AxeBuilder({ page })
          .options({
            resultTypes: ['violations'],
            rules: {
              'color-contrast-enhanced': { enabled: true },
              'target-size': { enabled: true },
            },
          })
          .analyze();
        expect(
          violations.map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html)}`),
        ).toEqual([]);
      }
    }
    expect(await shown(page.getByRole('main'))).toContain('1 planned window is under way');
    expect(complaints).toEqual([]);
  }, 120_000);
});
