/**
 * The configuration file, as it is written: the one source of its types, its validation and its JSON Schema.
 * What relates two places (references, one duration to another) is checked in `references.ts` and `timing.ts`;
 * defaults are put into the services by `resolve.ts`.
 */
import * as z from 'zod';
import { jobsCountMax, plannedCountMax, servicesCountMax } from '../base/limits.ts';
import { duration } from '../probe/settings/words.ts';
import { board, household } from './board-schema.ts';
import { channel } from './channel-schema.ts';
import { job } from './job-schema.ts';
import { planned } from './planned-schema.ts';
import { probe } from './probe-schema.ts';
import { pulse } from './pulse-schema.ts';
import { record } from './record-schema.ts';
import { id, idOfAnother, line, link, list, share, times } from './words.ts';

const second = 1_000;
const hour = 3_600 * second;

const every = duration({ minMs: second, maxMs: 7 * 24 * hour });
const timeout = duration({ minMs: 100, maxMs: 60 * second });
const recheck = duration({ minMs: 500, maxMs: hour });
const settle = duration({ minMs: 0, maxMs: hour });
const slow = duration({ minMs: 1, maxMs: 60 * second });
const unanswered = z.enum(['down', 'unobserved']);
const unsteady = z.enum(['hold', 'tell']);

const defaults = z.strictObject({
  every: every.prefault('30s').describe('How often a service is asked.'),
  timeout: timeout.prefault('5s').describe('How long one question may take, all parts together.'),
  confirm: times.prefault(2).describe('Failures in a row that make an outage.'),
  restore: times.prefault(1).describe('Good answers in a row that end it.'),
  recheck: recheck.prefault('5s').describe('Pause before a suspect service is asked again.'),
  unanswered: unanswered
    .prefault('down')
    .describe('What lasting silence means where silence is lawful and answers came before.'),
  unsteady: unsteady
    .prefault('hold')
    .describe(
      'Single changes of a service that changes too often: hold them back and say so once, or tell each.',
    ),
  settle: settle
    .prefault('2m')
    .describe('After a boot of this machine, this long nothing is told.'),
});

const ids = list(idOfAnother, 'ids, such as [nas, gateway]').prefault([]);

const service = z.strictObject({
  name: line('a name', 80).describe('What people call it.'),
  id: id.optional().describe('By default made of the name: Order book becomes order-book.'),
  group: line('the name of a group', 80)
    .optional()
    .describe('Services of one group stand together.'),
  probe: probe.describe('How it is asked.'),
  open: link.optional().describe('Where its name on the board links to.'),
  note: z
    .string('expected a text')
    .min(1, 'expected a text that is not empty')
    .max(4_000, 'expected a note of at most 4000 characters')
    .optional()
    .describe('For whoever has to mend it: where it runs, how it is restarted.'),
  needs: ids.describe('Ids of the services that it must have to work.'),
  through: ids.describe('Ids of the services that we must have to see it: gateway, VPN.'),
  objective: share.optional().describe('The availability to reach over 30 days.'),
  slow: slow.optional().describe('A slower answer is `limited`.'),
  urgent: z
    .boolean('expected true or false')
    .optional()
    .describe('Told also in the quiet hours of a channel.'),
  every: every.optional().describe('How often it is asked.'),
  timeout: timeout.optional().describe('How long one question to it may take.'),
  confirm: times.optional().describe('Its failures in a row that make an outage.'),
  restore: times.optional().describe('Its good answers in a row that end one.'),
  recheck: recheck.optional().describe('Pause before it is asked again when suspect.'),
  unanswered: unanswered.optional().describe('What its lasting silence means.'),
  unsteady: unsteady
    .optional()
    .describe('What becomes of its single changes when it changes too often.'),
});

export const configSchema = z.strictObject({
  board: board.prefault({}).describe('The page.'),
  defaults: defaults.prefault({}).describe('How services are asked that do not say otherwise.'),
  services: z
    .array(service, 'expected a list of services, each beginning with `- name:`')
    .max(servicesCountMax, `expected at most ${servicesCountMax} services`)
    // At least one, unless there are jobs (references.ts).
    .prefault([])
    .describe('What is asked.'),
  jobs: z
    .array(job, 'expected a list of jobs, each beginning with `- name:`')
    .max(jobsCountMax, `expected at most ${jobsCountMax} jobs`)
    .prefault([])
    .describe('Scheduled work that reports in: backups, imports, renewals.'),
  tell: z
    .array(channel, 'expected a list of channels, each beginning with `- name:`')
    .prefault([])
    .describe('Who is told when something changes.'),
  planned: z
    .array(planned, 'expected a list of planned windows, each beginning with `- name:`')
    .max(plannedCountMax, `expected at most ${plannedCountMax} planned windows`)
    .prefault([])
    .describe('Work that was announced: time that does not count, and in which nothing is told.'),
  record: record.prefault({}).describe('What is kept, for how long, and where its backups go.'),
  pulse: pulse
    .optional()
    .describe(
      'Calls out while Rollcall itself is well, so that somebody else can notice its silence.',
    ),
  household: household
    .optional()
    .describe('A second page for the household: names and states only, on an address of its own.'),
});

/** The file, valid, with defaults at their places; durations are milliseconds. */
export type WrittenConfig = z.output<typeof configSchema>;
export type WrittenService = z.output<typeof service>;
export type WrittenJob = z.output<typeof job>;
export type WrittenDefaults = z.output<typeof defaults>;

/** Single parts, for what can be said of them when others are wrong. */
export const parts = { service, defaults } as const;
