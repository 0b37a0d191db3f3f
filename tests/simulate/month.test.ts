/**
 * Some weeks of five services with a real database, chores at their times: everything that the record says is what all
 * the answers say, and what was really so. The year is in `tests/soak`.
 */
import { test } from 'vitest';
import { liveYear } from './year.ts';
import { checkYear } from './year-checks.ts';

test('a month and a half of five services, asked every minute, is as it was', async () => {
  const year = await liveYear({ days: 38 });
  try {
    await checkYear(year);
  } finally {
    await year.end();
  }
});
