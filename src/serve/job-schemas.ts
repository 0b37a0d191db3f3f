/** What is asked and answered about jobs. */
import * as z from 'zod';
import { jobStates } from '../base/jobs.ts';
import { runIdCharsMax, runsCountMax, unitCharsMax } from '../base/limits.ts';
import { unitForm } from '../base/spool-report.ts';
import { bytes, instant, ms, named } from './schemas.ts';

export const run = z
  .object({
    id: z.string(),
    job: z.string(),
    beganAt: instant.nullable().describe('Null: only its end was told.'),
    endedAt: instant.nullable().describe('Null: it runs, as far as anybody knows.'),
    exit: z.int().nullable().describe('Exit status; null while it runs.'),
    tookMs: ms.nullable(),
    sizeBytes: bytes.nullable().describe('Of all that it wrote.'),
    value: z.number().nullable().describe('A number that it told of its work.'),
    unit: z.string().nullable(),
    output: z
      .string()
      .nullable()
      .describe('The end of what it wrote; null: none was told, or it is no longer kept.'),
  })
  .register(named, { id: 'Run' });
export type RunBody = z.output<typeof run>;

const job = z
  .object({
    id: z.string(),
    name: z.string(),
    group: z.string().nullable(),
    state: z.enum(jobStates),
    due: z.string().describe('Its schedule, or its pause, as it is configured.'),
    dueAt: instant
      .nullable()
      .describe('The due time that is waited for, or was missed; null: none will come.'),
    allowMs: ms,
    limitMs: ms,
    reason: z.string().nullable().describe('What is wrong; null: nothing.'),
    detail: z.string().nullable(),
    last: run.nullable().describe('The run that ended last, with the last lines of its output.'),
  })
  .register(named, { id: 'Job' });
export type JobBody = z.output<typeof job>;

export const jobs = z.object({ jobs: z.array(job) });

export const runs = z.object({
  complete: z.boolean().describe('False: there are more, and these are the newest.'),
  runs: z.array(run).describe('Newest first.'),
});

export const runsQuery = z.strictObject({
  count: z
    .string()
    .regex(/^[1-9]\d{0,3}$/, `expected a whole number from 1 to ${runsCountMax}`)
    .transform(Number)
    .refine((count) => count <= runsCountMax, `expected a whole number from 1 to ${runsCountMax}`)
    .optional()
    .describe('So many of the newest; 50 unless it is said.'),
});

const runIdForm = new RegExp(`^[A-Za-z0-9][A-Za-z0-9._:-]{0,${runIdCharsMax - 1}}$`);
const runId = z
  .string()
  .regex(runIdForm, `expected at most ${runIdCharsMax} letters, digits and . _ : -`)
  .describe('Tells runs apart that overlap. Any text of your own.');

const number = z
  .string()
  .max(40)
  .regex(/^-?\d+(\.\d+)?([eE][+-]?\d{1,3})?$/, 'expected a number, such as 1234 or 0.5')
  .transform(Number)
  .refine(Number.isFinite, 'expected a number, such as 1234 or 0.5');

export const beganQuery = z.strictObject({ run: runId.optional() });

export const endedQuery = z.strictObject({
  exit: z
    .string('expected the exit status, such as exit=0')
    .regex(/^-?\d{1,10}$/, 'expected the exit status, such as exit=0')
    .transform(Number)
    .describe('The exit status; anything but 0 is failed.'),
  run: runId
    .optional()
    .describe('Without it, the latest run that has not ended; where there is none, a whole run.'),
  value: number
    .optional()
    .describe('A number that tells of the work done, such as the bytes backed up.'),
  unit: z.string().regex(unitForm, `expected at most ${unitCharsMax} characters`).optional(),
});

const at = z
  .string()
  .regex(/^\d{1,15}$/, 'expected milliseconds since the epoch')
  .transform(Number);

/** On the socket the reporter is this machine's own: its clock is ours. */
export const localBeganQuery = beganQuery.extend({ at: at.optional() });
export const localEndedQuery = endedQuery.extend({
  at: at.optional(),
  began: at.optional(),
  size: at.optional(),
});
