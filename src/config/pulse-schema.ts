/** The pulse: whom Rollcall calls while it is well itself. */
import * as z from 'zod';
import { duration } from '../probe/settings/words.ts';
import { headerName, headerValue, webhook } from './channel-schema.ts';

const every = duration({ minMs: 1_000, maxMs: 24 * 3_600_000 });

export const pulse = z.strictObject({
  to: webhook.describe('The address that is called.'),
  every: every.prefault('1m').describe('How often.'),
  method: z.enum(['GET', 'POST']).prefault('GET').describe('GET, or POST with a small JSON body.'),
  headers: z
    .record(
      headerName,
      headerValue,
      `expected headers, such as { Authorization: "Bearer \${TOKEN}" }`,
    )
    .optional()
    .describe('Sent with each call.'),
});
