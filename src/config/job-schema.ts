/** A job under `jobs`: scheduled work that reports in, and when it should have. */
import * as z from 'zod';
import { duration } from '../probe/settings/words.ts';
import { scheduleComplaint } from '../schedule/occurrences.ts';
import { id, idOfAnother, line, link, list, share, timezone, token } from './words.ts';

const second = 1_000;
const hour = 3_600 * second;
const day = 24 * hour;

const schedule = z
  .string('expected a schedule of five fields in quotes, such as "15 2 * * *"')
  .max(200, 'expected a schedule of at most 200 characters')
  .superRefine((given, context) => {
    const message = scheduleComplaint(given);
    if (message !== null) context.addIssue({ code: 'custom', message });
  })
  .transform((given) => given.trim());

const fields = z.strictObject({
  name: line('a name', 80).describe('What people call it.'),
  id: id.optional().describe('By default made of the name: Nightly backup becomes nightly-backup.'),
  group: line('the name of a group', 80)
    .optional()
    .describe('Stands together with the services and jobs of this group.'),
  open: link.optional().describe('Where its name on the board links to.'),
  note: z
    .string('expected a text')
    .min(1, 'expected a text that is not empty')
    .max(4_000, 'expected a note of at most 4000 characters')
    .optional()
    .describe('For whoever has to mend it: where it runs, how it is run again.'),
  needs: list(idOfAnother, 'ids, such as [nas, order-book]')
    .prefault([])
    .describe('Ids of the services and jobs that it must have to work.'),
  objective: share.optional().describe('The share of the time to be in order, over 30 days.'),
  urgent: z
    .boolean('expected true or false')
    .optional()
    .describe('Told also in the quiet hours of a channel.'),
  schedule: schedule
    .optional()
    .describe(
      'When it is due, as in a crontab: minute, hour, day of the month, month, day of the week.',
    ),
  timezone: timezone
    .optional()
    .describe('Whose clock the schedule goes by; by default that of the board.'),
  every: duration({ minMs: 60 * second, maxMs: 400 * day })
    .optional()
    .describe('In place of a schedule: so long after its last run began it is due again.'),
  allow: duration({ minMs: second, maxMs: 30 * day })
    .prefault('1h')
    .describe('Not begun or ended so long after its due time, it is overdue.'),
  limit: duration({ minMs: second, maxMs: 30 * day })
    .prefault('1d')
    .describe('A run that lasts longer hangs.'),
  token: token
    .optional()
    .describe(
      'Who reports over the network sends it as `Authorization: Bearer …`; `rollcall job run` on this machine needs none.',
    ),
});

export const job = fields.superRefine((given, context) => {
  const complain = (key: string, message: string) =>
    context.addIssue({ code: 'custom', path: [key], message });
  if (given.schedule === undefined && given.every === undefined) {
    complain('schedule', 'expected when it is due, such as "15 2 * * *", or `every` in its place');
  }
  if (given.schedule !== undefined && given.every !== undefined) {
    complain('every', 'expected one of `schedule` and `every`, not both');
  }
});
