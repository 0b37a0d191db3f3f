/** What the configuration says of the record: how long it is kept, where its backups go, and what is said of mistakes. */
import { expect, test } from 'vitest';
import type { Config } from '../../src/config/resolve.ts';
import { complaints, load } from '../support/config-text.ts';

const services = 'services: [{ name: Shop, probe: "tcp://nas:445" }]';
function configOf(text: string): Config {
  const loaded = load(text);
  if (!loaded.ok) throw new Error('the configuration is wrong');
  return loaded.config;
}

const withRecord = (record: string) => `${services}\nrecord: ${record}`;

test.each([
  ['{}', null],
  ['{ keep: forever }', null],
  ['{ keep: 2y }', 732],
  ['{ keep: 90d }', 90],
  ['{ keep: 32d }', 32],
])('%s keeps answers for so many days: %s', (record, keepDays) => {
  expect(configOf(withRecord(record)).record).toEqual({ keepDays, backup: null });
});

test('a backup needs a folder, and has its numbers by itself', () => {
  expect(configOf(withRecord('{ backup: { to: /mnt/nas/rollcall } }')).record.backup).toEqual({
    to: '/mnt/nas/rollcall',
    days: 7,
    weeks: 4,
  });
  expect(
    configOf(withRecord('{ backup: { to: /mnt/nas, days: 1, weeks: 0 } }')).record.backup,
  ).toEqual({ to: '/mnt/nas', days: 1, weeks: 0 });
});

const keepExpected =
  'expected forever, or how long in years or days, such as 2y or 90d (at least 32d)';

test.each([
  ['{ keep: 2 }', `2:17 \`record.keep\`: found 2, ${keepExpected}`],
  ['{ keep: 2 years }', `2:17 \`record.keep\`: found "2 years", ${keepExpected}`],
  ['{ keep: 31d }', `2:17 \`record.keep\`: found "31d", ${keepExpected}`],
  ['{ keep: 0y }', `2:17 \`record.keep\`: found "0y", ${keepExpected}`],
  ['{ retention: 2y }', '2:11 `record.retention`: unknown key; did you mean `keep`?'],
  [
    '{ backup: { to: backups } }',
    '2:25 `record.backup.to`: found "backups", expected the path of a folder from the root on, such as /mnt/nas/rollcall',
  ],
  [
    '{ backup: { to: /mnt/nas, days: 0 } }',
    '2:41 `record.backup.days`: found 0, expected a whole number of days from 1 to 500',
  ],
])('%s is complained of', (record, complaint) => {
  expect(complaints(withRecord(record))).toEqual([complaint]);
});
