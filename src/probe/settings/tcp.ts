/** Settings of the `tcp` probe: the port accepts and, if asked, says what is expected. */
import * as z from 'zod';
import { declare, onlyHostAndPort } from './declaration.ts';
import { expectedText } from './expected-text.ts';
import { host, hostPort, port } from './words.ts';

export const tcp = declare({
  kind: 'tcp',
  schema: z.strictObject({
    kind: z.literal('tcp'),
    host,
    port,
    send: z
      .string()
      .max(1_024)
      .optional()
      .describe('Text sent after connecting; \\r and \\n are written as in YAML double quotes.'),
    expect: expectedText.optional(),
  }),
  schemes: ['tcp'],
  fromUrl: (url) => ({ kind: 'tcp', ...onlyHostAndPort(url, null) }),
  where: (settings) => hostPort(settings.host, settings.port),
  manners: { minGapMs: 0 },
});
