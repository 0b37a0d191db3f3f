/** What every test in a browser begins with: one browser for a file, boards to look at, pages that are closed again. */
import type { Browser, BrowserContextOptions } from 'playwright-core';
import { afterAll, afterEach, beforeAll } from 'vitest';
import { type Member, type Scene, type SceneOptions, sceneOf } from '../serve/scene.ts';
import { builtAssets, launch, listen, type Visit, visit } from './browser.ts';

export interface Session {
  board(members: readonly Member[], more?: SceneOptions): Promise<{ scene: Scene; base: string }>;
  open(url: string, options?: BrowserContextOptions): Promise<Visit>;
  /** A page whose timers run only when they are told to. */
  openTimed(base: string): Promise<Visit>;
}

/** Within a `describe`: registers what goes before and after. */
export function browserSession(): Session {
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

  const open: Session['open'] = async (url, options = {}) => {
    const opened = await visit(browser, url, options);
    closings.push(opened.close);
    return opened;
  };
  return {
    open,
    board: async (members, more = {}) => {
      const scene = await sceneOf(members, { assets: assets.url, ...more });
      scenes.push(scene);
      return { scene, base: await listen(scene) };
    },
    openTimed: async (base) => {
      const opened = await open('about:blank');
      await opened.page.clock.install();
      await opened.page.goto(base);
      return opened;
    },
  };
}
