/** Nightly backups: which are kept and which may go. Common practice, no source; the tables are worked out by hand. */
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { backupName, backupsIn, superfluous } from '../src/rotation.ts';

const dayMs = 86_400_000;
/** Wednesday, 2026-11-25. */
const wednesday = Date.parse('2026-11-25T02:10:00Z');
const nameAgo = (days: number) => backupName(wednesday - days * dayMs);
const names = (count: number) => Array.from({ length: count }, (_, days) => nameAgo(days));
const kept = (given: readonly string[], rotation: { days: number; weeks: number }) => {
  const gone = new Set(superfluous(given, rotation));
  return given.filter((name) => !gone.has(name));
};

test('a backup is named after its UTC day', () => {
  expect(backupName(Date.parse('2026-11-25T23:59:59.999Z'))).toBe('rollcall-2026-11-25.db');
});

test('of forty nights in a row the newest seven stay, and the Sundays of the four weeks before', () => {
  // The newest seven are 19 to 25 November; their weeks began on 16 and 23 November.
  expect(kept(names(40), { days: 7, weeks: 4 })).toEqual([
    ...[0, 1, 2, 3, 4, 5, 6].map(nameAgo),
    'rollcall-2026-11-15.db',
    'rollcall-2026-11-08.db',
    'rollcall-2026-11-01.db',
    'rollcall-2026-10-25.db',
  ]);
});

test.each([
  ['nothing to choose from', [], { days: 7, weeks: 4 }, []],
  ['fewer than there may be', names(3), { days: 7, weeks: 4 }, names(3)],
  ['no weeks', names(20), { days: 2, weeks: 0 }, names(2)],
  ['one only', names(3), { days: 1, weeks: 0 }, names(1)],
  [
    'gaps, since the machine was off: numbers count files, not days',
    [nameAgo(0), nameAgo(30), nameAgo(60), nameAgo(61), nameAgo(90)],
    { days: 2, weeks: 1 },
    [nameAgo(0), nameAgo(30), nameAgo(60)],
  ],
])('%s', (_, given, rotation, expected) => {
  expect(kept(given, rotation)).toEqual(expected);
});

test('what has another name is none of ours', () => {
  const others = [
    'rollcall.db',
    'rollcall-2026-11-25.db.part',
    'rollcall-2026-02-30.db',
    'rollcall-2026-1-1.db',
    'photos-2026-11-25.db',
    'copy of rollcall-2026-11-25.db',
  ];
  expect(superfluous([...others, ...names(3)], { days: 1, weeks: 0 })).toEqual([
    nameAgo(1),
    nameAgo(2),
  ]);
});

test('the newest always stays, and no night later brings back what would have gone', () => {
  const someDays = fc.uniqueArray(fc.nat({ max: 400 }), { minLength: 1, maxLength: 60 });
  const rotations = fc.record({
    days: fc.integer({ min: 1, max: 10 }),
    weeks: fc.nat({ max: 10 }),
  });
  fc.assert(
    fc.property(someDays, rotations, (days, rotation) => {
      const left = kept(days.map(nameAgo), rotation);
      expect(left).toContain(nameAgo(Math.min(...days)));
      expect(left.length).toBeLessThanOrEqual(rotation.days + rotation.weeks);
      expect(superfluous(left, rotation)).toEqual([]);
    }),
  );
});

test('a folder that is not there has no backups', () => {
  expect(backupsIn('/nowhere/at/all')).toEqual([]);
});
