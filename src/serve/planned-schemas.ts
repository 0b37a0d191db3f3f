/** What the API answers about planned work. */
import * as z from 'zod';
import { instant, named } from './schemas.ts';

const window = z
  .object({
    id: z.string(),
    name: z.string(),
    why: z.string().nullable(),
    from: instant,
    to: instant,
    services: z.array(z.string()).nullable().describe('Ids; null: every service.'),
    origin: z
      .enum(['schedule', 'once', 'declared'])
      .describe('By a schedule or once in the configuration, or declared by somebody.'),
  })
  .register(named, { id: 'PlannedWindow' });

export const planned = z.object({
  running: z.array(window),
  toCome: z.array(window).describe('In the order of time.'),
  past: z.array(window).describe('The last first.'),
});

export type PlannedBody = z.output<typeof planned>;
