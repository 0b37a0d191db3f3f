/** One short text for the settings of a probe: equal exactly when the same is asked in the same way. */
import { createHash } from 'node:crypto';

/**
 * 32 hex digits of SHA-256 over the settings written canonically: keys sorted, what is undefined left out.
 * Keys and passwords count, because with another key an earlier answer proves nothing about later silence.
 */
export function fingerprintOf(settings: unknown): string {
  return createHash('sha256').update(canonical(settings)).digest('hex').slice(0, 32);
}

function canonical(value: unknown): string {
  if (Array.isArray(value)) return `[${value.map(canonical).join(',')}]`;
  if (value instanceof RegExp || value instanceof URL) return JSON.stringify(String(value));
  if (value instanceof Uint8Array) return JSON.stringify(Buffer.from(value).toString('base64'));
  if (typeof value === 'object' && value !== null) {
    const members = Object.entries(value)
      .filter(([, member]) => member !== undefined)
      .sort(([a], [b]) => (a < b ? -1 : 1))
      .map(([key, member]) => `${JSON.stringify(key)}:${canonical(member)}`);
    return `{${members.join(',')}}`;
  }
  return JSON.stringify(value) ?? 'null';
}
