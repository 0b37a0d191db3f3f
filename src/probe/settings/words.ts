/** The words that settings are made of, shared by the probes' declarations and the rest of the configuration. */
import * as z from 'zod';
import { formatDuration, parseDurationMs } from '../../base/durations.ts';

interface Bounds {
  readonly minMs: number;
  readonly maxMs: number;
}

/** A duration as text in, milliseconds out, within bounds. */
export function duration(bounds: Bounds) {
  const expected = sayExpected(bounds);
  return z
    .string({ error: ({ input }) => `${expected}${sayMeant(input, bounds)}` })
    .meta({
      pattern: '^\\d+(\\.\\d+)?(ms|s|m|h|d)$',
      description: `A duration: ${formatDuration(bounds.minMs)} to ${formatDuration(bounds.maxMs)}.`,
    })
    .transform((text, context) => {
      const durationMs = parseDurationMs(text);
      if (isWithin(durationMs, bounds)) return durationMs;
      const message = `${expected}${sayMeant(text, bounds)}`;
      context.addIssue({ code: 'custom', message, input: text });
      return z.NEVER;
    });
}

function isWithin(durationMs: number | null, { minMs, maxMs }: Bounds): durationMs is number {
  return durationMs !== null && durationMs >= minMs && durationMs <= maxMs;
}

function sayExpected(bounds: Bounds): string {
  const examples = ['500ms', '30s', '5m', '2h', '14d'].filter((example) =>
    isWithin(parseDurationMs(example), bounds),
  );
  const such = examples.length === 0 ? '' : `, such as ${examples.slice(0, 3).join(', ')}`;
  return `expected a duration from ${formatDuration(bounds.minMs)} to ${formatDuration(bounds.maxMs)}${such}`;
}

/**
 * A number is meant in seconds, or in milliseconds where that would be too long; of a unit in words its first letter is
 * meant, of milliseconds both.
 */
function sayMeant(input: unknown, bounds: Bounds): string {
  // Not of a block or a list: one with a key `toString` cannot be made a text at all.
  if (typeof input !== 'string' && typeof input !== 'number') return '';
  const [, digits, word] = /^([\d.]{1,12})(?:\s*([a-z]{1,12}))?$/i.exec(String(input).trim()) ?? [];
  if (digits === undefined) return '';
  const units = word === undefined ? ['s', 'ms'] : [unitOf(word)];
  const meant = units
    .map((unit) => `${digits}${unit}`)
    .find((text) => isWithin(parseDurationMs(text), bounds));
  return meant === undefined ? '' : ` (did you mean ${meant}?)`;
}

function unitOf(word: string): string {
  return /^(ms|milli)/i.test(word) ? 'ms' : word.charAt(0).toLowerCase();
}

/** Said of a number in a block and of one in a shorthand. */
export const portExpected = 'expected a port, 1 to 65535';

export const port = z.int(portExpected).min(1, portExpected).max(65_535, portExpected);

/** A host name or an address; brackets of an IPv6 address are taken off. */
export const host = z
  .string('expected a host name or an address')
  .regex(/^[\p{L}\p{N}._:%[\]-]{1,253}$/u, 'expected a host name or an address')
  .refine((text) => !text.startsWith('-'), 'expected a host name or an address')
  .transform((text) => text.replace(/^\[(.*)\]$/, '$1'));

/** Marks a value that must never be printed. `${NAME}` and `file:PATH` are put in before validation. */
export const secret = z
  .string('expected a text, or `file:PATH`')
  .min(1, 'expected a text that is not empty')
  .meta({ secret: true });

/** `host:port`, an IPv6 address in brackets. */
export function hostPort(name: string, portNumber: number): string {
  return name.includes(':') ? `[${name}]:${portNumber}` : `${name}:${portNumber}`;
}
