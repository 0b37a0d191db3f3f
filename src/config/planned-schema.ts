/** A planned window under `planned`: when it is, by a schedule or once, and which services it is about. */
import * as z from 'zod';
import { plannedMsMax, plannedMsMin, plannedWhyCharsMax } from '../base/limits.ts';
import { duration } from '../probe/settings/words.ts';
import { scheduleComplaint } from '../schedule/occurrences.ts';
import { isLocalText, isOffsetText } from '../uptime/calendar.ts';
import { idOfAnother, line, list, text, timezone } from './words.ts';

const schedule = z
  .string('expected a schedule of five fields, such as "0 4 * * 0"')
  .max(200, 'expected a schedule of at most 200 characters')
  .superRefine((given, context) => {
    const message = scheduleComplaint(given);
    if (message !== null) context.addIssue({ code: 'custom', message });
  });

/** Local times are read on the clock of the entry's zone, once that is known. */
const moment = text(
  'a day and a time, such as "2026-12-05 20:00" or 2026-12-05T20:00:00+01:00',
  (given) => isLocalText(given) || isOffsetText(given),
);

const noneNamed = 'expected at least one: leave the key out where all are meant';

const fields = z.strictObject({
  name: line('a name', 80).describe('What the work is called.'),
  why: line('a reason', plannedWhyCharsMax).optional().describe('Shown with it.'),
  schedule: schedule
    .optional()
    .describe('When it begins: minute, hour, day of the month, month, day of the week.'),
  lasts: duration({ minMs: plannedMsMin, maxMs: plannedMsMax })
    .optional()
    .describe('How long each one lasts.'),
  timezone: timezone.optional().describe("On whose clock; by default the board's."),
  from: moment.optional().describe('In place of a schedule: when it begins, once.'),
  to: moment.optional().describe('And when it ends.'),
  services: list(idOfAnother, 'ids, such as [order-book]')
    .min(1, noneNamed)
    .optional()
    .describe('Ids of the services that it is about; by default all.'),
  groups: list(z.string('expected the name of a group').max(200), 'groups, such as [Data]')
    .min(1, noneNamed)
    .optional()
    .describe('Groups whose services it is about.'),
});

/** What belongs to which way of saying when. */
const partners = { schedule: ['lasts'], from: ['to'] } as const;

export const planned = fields.superRefine((given, context) => {
  const complain = (key: string, message: string) =>
    context.addIssue({ code: 'custom', path: [key], message });
  const way = given.schedule === undefined ? 'from' : 'schedule';
  if (given[way] === undefined) {
    complain('schedule', 'expected a schedule with `lasts`, or `from` and `to` in its place');
    return;
  }
  for (const key of partners[way]) {
    if (given[key] === undefined) complain(key, `expected it beside \`${way}\``);
  }
  const others = way === 'schedule' ? (['from', 'to'] as const) : (['lasts'] as const);
  for (const key of others) {
    if (given[key] !== undefined) complain(key, `expected no such key beside \`${way}\``);
  }
});
