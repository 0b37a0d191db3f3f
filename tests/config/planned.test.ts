/** What `planned:` may say, and what is said where it says something else. */
import { expect, test } from 'vitest';
import { complaints, load } from '../support/config-text.ts';

const services = `
services:
  - { name: Shop, group: Studio, probe: "tcp://nas:1" }
  - { name: Kiln, group: Studio, probe: "tcp://nas:2" }
  - { name: NAS, probe: "tcp://nas:3" }`;
const board = 'board: { timezone: Europe/Dublin }';

function plannedOf(entry: string) {
  const loaded = load(`${board}${services}\nplanned: [${entry}]`);
  return loaded.ok ? loaded.config.planned[0] : loaded.mistakes;
}
/** Without the place, which is the entry's. */
const wrong = (entry: string) =>
  complaints(`${board}${services}\nplanned: [${entry}]`).map((text) => text.replace(/^\S+ /, ''));

test('a schedule and how long it lasts, on the clock of the board', () => {
  expect(plannedOf('{ name: Sunday updates, schedule: "0 4 * * 0", lasts: 45m }')).toEqual({
    kind: 'schedule',
    name: 'Sunday updates',
    why: null,
    serviceIds: null,
    schedule: '0 4 * * 0',
    timezone: 'Europe/Dublin',
    lastsMs: 45 * 60_000,
  });
});

test('services and groups together, and a zone of its own', () => {
  const entry =
    '{ name: x, why: New disk, schedule: "@daily", lasts: 1h, timezone: Asia/Tokyo, services: [nas], groups: [Studio] }';
  expect(plannedOf(entry.replace('@daily', '0 0 * * *'))).toMatchObject({
    why: 'New disk',
    timezone: 'Asia/Tokyo',
    serviceIds: ['shop', 'kiln', 'nas'],
  });
});

test.each([
  // Dublin keeps UTC+1 in summer and UTC in winter.
  ['2026-07-05 20:00', '2026-07-05T19:00:00.000Z'],
  ['2026-12-05 20:00', '2026-12-05T20:00:00.000Z'],
  ['2026-12-05T20:00:00+01:00', '2026-12-05T19:00:00.000Z'],
  ['2026-12-05T20:00:00Z', '2026-12-05T20:00:00.000Z'],
  // The clock leaves 01:00 to 02:00 out, and comes to 01:30 twice ("compatible": later; the first).
  ['2026-03-29 01:30', '2026-03-29T01:30:00.000Z'],
  ['2026-10-25 01:30', '2026-10-25T00:30:00.000Z'],
])('once, from %s', (from, expected) => {
  const found = plannedOf(`{ name: Move, from: "${from}", to: "2027-01-01 00:00" }`);
  expect(found).toMatchObject({ kind: 'once', from: Date.parse(expected) });
});

test.each([
  [
    '{ name: x }',
    [
      '`schedule` of x is missing: expected a schedule with `lasts`, or `from` and `to` in its place',
    ],
  ],
  [
    '{ name: x, schedule: "0 4 * * 0" }',
    ['`lasts` of x is missing: expected it beside `schedule`'],
  ],
  ['{ name: x, from: "2026-12-05 20:00" }', ['`to` of x is missing: expected it beside `from`']],
  [
    '{ name: x, schedule: "0 4 * *", lasts: 1h }',
    [expect.stringContaining('expected five fields')],
  ],
  ['{ name: x, schedule: "0 4 31 2 *", lasts: 1h }', [expect.stringContaining('never falls due')]],
  ['{ name: x, schedule: "0 4 * * 0", lasts: 10d }', [expect.stringContaining('from 1m to 7d')]],
  [
    '{ name: x, schedule: "0 4 * * 0", lasts: 1h, to: "2026-12-05 20:00" }',
    [expect.stringContaining('no such key beside `schedule`')],
  ],
  [
    '{ name: x, from: "2026-13-05 20:00", to: "2026-12-05 21:00" }',
    [expect.stringContaining('a day and a time')],
  ],
  [
    '{ name: x, from: "2026-12-05 20:00", to: "2026-12-05T20:00:00Z" }',
    [expect.stringContaining('an instant after `from`')],
  ],
  [
    '{ name: x, schedule: "0 4 * * 0", lasts: 1h, services: [shp] }',
    [expect.stringContaining('there is no service `shp`; did you mean `shop`?')],
  ],
  [
    '{ name: x, schedule: "0 4 * * 0", lasts: 1h, groups: [Data] }',
    [expect.stringContaining('there is no group `Data`')],
  ],
  [
    '{ name: x, cron: "0 4 * * 0", lasts: 1h }',
    expect.arrayContaining([expect.stringContaining('did you mean `schedule`?')]),
  ],
])('%s is refused', (entry, expected) => {
  expect(wrong(entry)).toEqual(expected);
});

test('two windows of one name are refused: they could not be told apart', () => {
  const one = '{ name: Sunday updates, schedule: "0 4 * * 0", lasts: 1h }';
  expect(wrong(`${one}, ${one.replace('Sunday updates', 'sunday UPDATES')}`)).toEqual([
    expect.stringContaining('another planned window has this name already'),
  ]);
});

test('the key that other programs call it by is known', () => {
  expect(complaints(`${services}\nmaintenance: []`)[0]).toContain('did you mean `planned`?');
});
