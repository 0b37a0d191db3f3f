// Makes the README's picture of the board from the demo: node .ci/screenshot.mjs. Build first.
// To look at the whole page as others see it: node .ci/screenshot.mjs FILE [WIDTH] [light|dark].
import { spawn } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';
import { smallerPng } from './smaller-png.mjs';

const [file, width = '1280', colorScheme = 'light'] = process.argv.slice(2);
const pictureWidth = 1_200;
process.chdir(fileURLToPath(new URL('..', import.meta.url)));

const demo = spawn(process.execPath, ['dist/src/demo/main.js'], {
  stdio: ['ignore', 'ignore', 'pipe'],
});
const ended = new Promise((resolve) => demo.once('close', resolve));
try {
  const url = await boardOf(demo);
  await untilAllStatesShow(url);
  await picture(url);
} finally {
  demo.kill('SIGINT');
  await ended;
}

function boardOf({ stderr }) {
  return new Promise((resolve, reject) => {
    let said = '';
    stderr.on('data', (chunk) => {
      said += chunk;
      const url = /The board: (\S+)/.exec(said)?.[1];
      if (url) resolve(url);
    });
    stderr.once('end', () => reject(new Error(`the demo ended: ${said}`)));
  });
}

/** And the shop stands behind its cause. */
async function untilAllStatesShow(url) {
  const wanted = ['degraded', 'down', 'unobserved'];
  for (const endsAt = Date.now() + 180_000; Date.now() < endsAt; ) {
    const { services } = await (await fetch(new URL('api/v1/services', url))).json();
    const shown = services.map(({ state }) => state);
    if (wanted.every((state) => shown.includes(state)) && services.some(({ cause }) => cause)) {
      return;
    }
    await new Promise((resolve) => setTimeout(resolve, 250));
  }
  throw new Error('the demo has not shown every state within three minutes');
}

async function picture(url) {
  const browser = await chromium.launch({
    executablePath: '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-gpu', '--disable-background-networking'],
  });
  try {
    const viewport = { width: Number(width), height: 800 };
    const deviceScaleFactor = file ? 1 : pictureWidth / viewport.width;
    const page = await browser.newPage({ viewport, deviceScaleFactor, colorScheme });
    await page.goto(url);
    if (file) await page.screenshot({ path: file, fullPage: true });
    else await upToTheFirstGroup(page, viewport.width);
  } finally {
    await browser.close();
  }
}

/** The sentence, what is wrong, and the beginning of the roll: the rest looks alike. */
async function upToTheFirstGroup(page, width) {
  const group = await page.locator('details.group').first().boundingBox();
  const clip = { x: 0, y: 0, width, height: Math.ceil(group.y + group.height) };
  const png = await page.screenshot({ fullPage: true, clip });
  writeFileSync('tests/browser/board.png', smallerPng(png));
}
