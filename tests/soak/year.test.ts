/** A whole simulated year of five services at 60 s with a real database: 2.6 million rounds, every one accounted for. */
import { expect, test } from 'vitest';
import { liveYear } from '../simulate/year.ts';
import { checkYear } from '../simulate/year-checks.ts';

test('a year of five services, asked every minute, is as it was', async () => {
  const startedAt = performance.now();
  const year = await liveYear({ days: 365 });
  const livedMs = performance.now() - startedAt;
  try {
    expect(year.roundsCount).toBeGreaterThan(5 * 365 * 1_440 * 0.99);
    await checkYear(year);
    const seconds = (livedMs / 1_000).toFixed(1);
    console.log(`${year.roundsCount} rounds in ${seconds} s, ${year.heardCount} messages`);
  } finally {
    await year.end();
  }
}, 1_200_000);
