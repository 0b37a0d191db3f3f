/** The real process, killed ten times at work; `npm run soak` does so two hundred times. */
import { test } from 'vitest';
import { crash, crashSeed } from './support/crash.ts';

test('killed ten times at any moment: no change is lost, no message is, and none comes under two ids', async () => {
  await crash({ killsCount: 10, seed: crashSeed() });
}, 600_000);
