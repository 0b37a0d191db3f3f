/** Instants as text: RFC 3339 in UTC, with milliseconds. Converts only; no clock is read. */

/** `2026-11-25T04:00:00.000Z`. */
export function instantText(at: number): string {
  return new Date(at).toISOString();
}

/** Milliseconds of an RFC 3339 instant in UTC (`…Z`, whole seconds or milliseconds); null when it is none, as 30 February. */
export function parseInstant(text: string): number | null {
  if (!/^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(?:\.\d{3})?Z$/.test(text)) return null;
  const at = Date.parse(text);
  // Date.parse lets 30 February through as 1 March; the way back shows it.
  return Number.isNaN(at) || !instantText(at).startsWith(text.slice(0, 19)) ? null : at;
}
