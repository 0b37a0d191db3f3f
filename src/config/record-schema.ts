/** How long the record is kept, and where its backups go. */
import { isAbsolute } from 'node:path';
import * as z from 'zod';
import { keptDaysMin } from '../base/limits.ts';

const keepForm = /^(?:forever|[1-9]\d{0,4}[dy])$/;
/** The longest that a year can be: what is kept for two years is not forgotten a day before they are over. */
const daysOfYear = 366;
const keepExpected = `expected forever, or how long in years or days, such as 2y or 90d (at least ${keptDaysMin}d)`;

/** `2y` in, days out; null: forever. */
const keep = z
  .string(keepExpected)
  .refine((given) => keepForm.test(given) && (daysOf(given) ?? keptDaysMin) >= keptDaysMin, {
    error: keepExpected,
  })
  .transform(daysOf)
  .meta({ pattern: keepForm.source });

function daysOf(given: string): number | null {
  if (given === 'forever') return null;
  return Number.parseInt(given, 10) * (given.endsWith('y') ? daysOfYear : 1);
}

const folderExpected = 'expected the path of a folder from the root on, such as /mnt/nas/rollcall';
const folder = z
  .string(folderExpected)
  .refine((given) => isAbsolute(given) && !given.includes('\0'), folderExpected);

const count = (least: number, what: string) => {
  const expected = `expected a whole number of ${what} from ${least} to 500`;
  return z.int(expected).min(least, expected).max(500, expected);
};

const backup = z.strictObject({
  to: folder.describe(
    'The folder for a backup a night, best on another disk. It must be there: it is never made, so that a disk that is not mounted shows.',
  ),
  days: count(1, 'days').prefault(7).describe('So many of the newest are kept.'),
  weeks: count(0, 'weeks').prefault(4).describe('And of older ones the last of so many weeks.'),
});

export const record = z.strictObject({
  keep: keep
    .prefault('forever')
    .describe(
      'How long every single answer is kept: forever, or such as 2y or 90d. Outages and spans stay.',
    ),
  backup: backup.optional().describe('Where copies of the record go.'),
});
