/** The real process, killed two hundred times at work, or ROLLCALL_KILLS times. */
import { test } from 'vitest';
import { crash, crashSeed } from '../daemon/support/crash.ts';

const killsCount = Number(process.env['ROLLCALL_KILLS'] ?? 200);

test(
  'killed two hundred times at any moment: no change is lost, no message is, and none comes under two ids',
  async () => {
    await crash({ killsCount, seed: crashSeed() });
  },
  600_000 + killsCount * 30_000,
);
