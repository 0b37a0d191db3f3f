/** What a service said of itself. */
import type { FactProps } from '../../web/props-service.ts';
import { nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Facts } from '../base/values.ts';

export function factsOf(facts: Facts): FactProps[] {
  return Object.entries(facts).map(([key, value]) => ({ word: wordOf(key), value: said(value) }));
}

/** `serverVersion` → `server version`. */
function wordOf(key: string): string {
  return cleanText(key.replace(/([a-z0-9])([A-Z])/g, '$1 $2').toLowerCase(), nameCharsMax);
}

function said(value: Facts[string]): string {
  if (typeof value === 'boolean') return value ? 'yes' : 'no';
  return cleanText(String(value));
}
