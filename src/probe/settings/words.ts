/** The words that settings are made of, shared by the probes' declarations and the rest of the configuration. */
import { z } from 'zod';
import { formatDuration, parseDurationMs } from '../../base/durations.ts';

/** A duration as text in, milliseconds out, within bounds. */
export function duration(bounds: { minMs: number; maxMs: number }) {
  const expected = `a duration between ${formatDuration(bounds.minMs)} and ${formatDuration(bounds.maxMs)}, such as 500ms, 30s, 5m, 2h or 14d`;
  return z
    .string(`expected ${expected}`)
    .meta({
      pattern: '^\\d+(\\.\\d+)?(ms|s|m|h|d)$',
      description: `A duration: ${formatDuration(bounds.minMs)} to ${formatDuration(bounds.maxMs)}.`,
    })
    .transform((text, context) => {
      const durationMs = parseDurationMs(text);
      if (durationMs === null || durationMs < bounds.minMs || durationMs > bounds.maxMs) {
        context.addIssue({ code: 'custom', message: `expected ${expected}`, input: text });
        return z.NEVER;
      }
      return durationMs;
    });
}

export const port = z
  .int('expected a port, 1 to 65535')
  .min(1, 'expected a port, 1 to 65535')
  .max(65_535, 'expected a port, 1 to 65535');

/** A host name or an address; brackets of an IPv6 address are taken off. */
export const host = z
  .string('expected a host name or an address')
  .regex(/^[\p{L}\p{N}._:%[\]-]{1,253}$/u, 'expected a host name or an address')
  .refine((text) => !text.startsWith('-'), 'expected a host name or an address')
  .transform((text) => text.replace(/^\[(.*)\]$/, '$1'));

/** Marks a value that must never be printed. `${NAME}` and `file:PATH` are put in before validation. */
export const secret = z
  .string('expected a text')
  .min(1, 'expected a text that is not empty')
  .meta({ secret: true });

/** `host:port`, an IPv6 address in brackets. */
export function hostPort(name: string, portNumber: number): string {
  return name.includes(':') ? `[${name}]:${portNumber}` : `${name}:${portNumber}`;
}
