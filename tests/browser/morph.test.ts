/** One tree made like another, in a real browser: always the same in the end, and what a person is at stays. */
import { build } from 'esbuild';
import fc from 'fast-check';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, beforeEach, expect, test } from 'vitest';
import { needs } from '../support/peers.ts';
import { chromiumPath, launch } from './browser.ts';

needs('chromium', chromiumPath)('the exchange of a page', () => {
  let browser: Browser;
  let page: Page;
  let script: string;

  beforeAll(async () => {
    const bundled = await build({
      entryPoints: [new URL('../../web/client/morph.ts', import.meta.url).pathname],
      bundle: true,
      write: false,
      format: 'iife',
      globalName: 'client',
    });
    script = bundled.outputFiles[0]?.text ?? '';
    browser = await launch();
    page = await browser.newPage();
  });
  beforeEach(async () => {
    await page.goto('about:blank');
    await page.evaluate(script.replace('var client', 'window.client'));
  });
  afterAll(() => browser?.close());

  /** Puts a tree there. */
  const show = (html: string) =>
    page.evaluate(`document.body.innerHTML = ${JSON.stringify(`<main>${html}</main>`)}`);
  /** Makes it like another, and gives what it is then. */
  const morphed = (html: string) =>
    page.evaluate<string>(`(() => {
      const main = document.querySelector('main');
      const after = new DOMParser().parseFromString(${JSON.stringify(`<main>${html}</main>`)}, 'text/html');
      client.morph(main, after.querySelector('main'));
      return main.innerHTML;
    })()`);
  /** Marks elements, so that the same ones are known again. */
  const mark = (selector: string) =>
    page.evaluate(`document.querySelector(${JSON.stringify(selector)}).mine = true`);
  const isMarked = (selector: string) =>
    page.evaluate(`document.querySelector(${JSON.stringify(selector)})?.mine === true`);

  test('whatever there was and is to be, in the end it is as it is to be', async () => {
    const text = fc.constantFrom('a', 'b', ' ', '&amp;');
    const attributes = fc.constantFrom('', ' class="x"', ' class="y" lang="en"', ' open');
    const id = fc.constantFrom('', ' id="p"', ' id="q"', ' id="r"');
    const { node } = fc.letrec<{ node: string; nodes: string }>((tie) => ({
      nodes: fc.array(tie('node'), { maxLength: 4 }).map((all) => all.join('')),
      node: fc.oneof(
        { depthSize: 'small' },
        text,
        fc
          .tuple(fc.constantFrom('p', 'div', 'span', 'b'), attributes, tie('nodes'))
          .map(([name, more, within]) => `<${name}${more}>${within}</${name}>`),
        fc.tuple(id, tie('nodes')).map(([own, within]) => `<div${own}>${within}</div>`),
        fc
          .tuple(fc.constantFrom('/a', '/b', '/c'), tie('nodes'))
          .map(
            ([href, within]) =>
              `<i><a href="${href}">${within.replace(/<\/?a[^>]*>/g, '')}</a></i>`,
          ),
      ),
    }));
    const tree = fc.array(node, { maxLength: 5 }).map((all) => all.join(''));
    await fc.assert(
      fc.asyncProperty(tree, tree, async (before, after) => {
        await show(after);
        const wanted = await page.evaluate("document.querySelector('main').innerHTML");
        await show(before);
        expect(await morphed(after)).toBe(wanted);
      }),
      { numRuns: 150 },
    );
  });

  test('elements are found again by their id or their link, wherever they stand', async () => {
    const row = (name: string, more = '') => `<li><a href="/${name}">${name}</a>${more}</li>`;
    await show(`<ul>${row('a')}${row('b')}${row('c')}</ul><section id="s">x</section>`);
    for (const selector of ['a[href="/c"]', '#s']) await mark(selector);
    await morphed(
      `<p>new</p><ul>${row('new')}${row('c', ' is down')}${row('a')}</ul><section id="s">y</section>`,
    );
    expect(await isMarked('a[href="/c"]')).toBe(true);
    expect(await isMarked('#s')).toBe(true);
    expect(await page.evaluate("document.querySelector('ul').textContent")).toBe('newc is downa');
  });

  test('what a person opened or closed stays as it is', async () => {
    const list = '<details id="d"><summary>More</summary>One</details>';
    await show(list);
    await page.locator('summary').click();
    expect(await morphed(list.replace('One', 'Two'))).toBe(
      '<details id="d" open=""><summary>More</summary>Two</details>',
    );
    await page.locator('summary').click();
    expect(await morphed(list.replace('id="d"', 'id="d" open'))).not.toContain('open');
  });

  test('what is typed, chosen and ticked stays; what was left alone is renewed', async () => {
    const form = (token: string, hint: string) =>
      `<form><input type="hidden" id="t" value="${token}"><textarea id="a">${hint}</textarea><input id="b" value="${hint}"><textarea id="c">${hint}</textarea><input type="checkbox" id="d"><select id="e"><option>x</option><option>y</option></select></form>`;
    await show(form('1', 'one'));
    await page.locator('#a').fill('typed');
    await page.locator('#d').check();
    await page.locator('#e').selectOption('y');
    await morphed(form('2', 'two'));
    const values = await page.evaluate(
      "['t', 'a', 'b', 'c', 'e'].map((id) => document.getElementById(id).value)",
    );
    expect(values).toEqual(['2', 'typed', 'two', 'two', 'y']);
    expect(await page.locator('#d').isChecked()).toBe(true);
  });

  test('a form that somebody is at stays, even where it is gone from the page', async () => {
    const form = '<form id="f"><textarea id="a"></textarea><button id="b">Send</button></form>';
    await show(`<p>before</p>${form}`);
    await page.locator('#a').fill('typed');
    expect(await morphed('<p>after</p>')).toContain('<textarea id="a">');
    await show(`<p>before</p>${form}`);
    await page.locator('#b').focus();
    expect(await morphed('<p>after</p>')).toContain('<button id="b">');
    await show(`<p>before</p>${form}`);
    expect(await morphed('<p>after</p>')).toBe('<p>after</p>');
  });

  test('the focus stays with an element that moves', async () => {
    await show('<p id="p"><a href="/a" id="x">a</a></p><p id="q"><a href="/b" id="y">b</a></p>');
    await page.locator('#y').focus();
    await morphed('<p id="q"><a href="/b" id="y">b</a></p><p id="p"><a href="/a" id="x">a</a></p>');
    expect(await page.evaluate('document.activeElement.id')).toBe('y');
  });
});
