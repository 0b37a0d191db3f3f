/**
 * The owner's own body in place of the event: a text, or JSON whose texts are templates. Logic-less (mustache): values,
 * sections for what may be missing, nothing that runs. What is filled in is escaped for where it stands, and a name that no
 * event has is a mistake of the configuration, not an empty place in a message.
 */
import Mustache from 'mustache';
import { type BodyTemplate, templateNames } from '../base/template-names.ts';
import type { Event } from './event.ts';
import { escaped } from './letter.ts';

/** The body and its media type. `stated`: as what a body that is one text is sent; null: as plain text. */
export function renderBody(
  body: BodyTemplate,
  event: Event,
  { stated }: { readonly stated: string | null },
): { readonly body: string; readonly type: string } {
  const view = viewOf(event);
  if (typeof body === 'string') {
    const type = stated ?? 'text/plain; charset=utf-8';
    return { body: Mustache.render(body, view, {}, { escape: escapeFor(type) }), type };
  }
  const filled = filledIn(body, (text) => Mustache.render(text, view, {}, { escape: asItIs }));
  return { body: JSON.stringify(filled), type: 'application/json' };
}

/** All names of the list, nested as they are written; null where this event has nothing of it. */
function viewOf(event: Event): { readonly [name: string]: unknown } {
  const { data } = event;
  const { affected } = data;
  return {
    ...Object.fromEntries(templateNames.map((name) => [name.split('.')[0], null])),
    ...data,
    id: event.id,
    type: event.type,
    time: event.time,
    text: data['text'] ?? data.summary,
    affected: Array.isArray(affected) ? affected.join(', ') : null,
  };
}

function filledIn(body: BodyTemplate, fill: (text: string) => string): unknown {
  if (typeof body === 'string') return fill(body);
  if (body === null || typeof body !== 'object') return body;
  if (Array.isArray(body)) return body.map((item: BodyTemplate) => filledIn(item, fill));
  return Object.fromEntries(Object.entries(body).map(([key, item]) => [key, filledIn(item, fill)]));
}

/** Texts of peers are among what is filled in: they are never to be read as more than a text. */
function escapeFor(type: string): (value: unknown) => string {
  if (/[/+]json\b/i.test(type)) return insideJson;
  if (/^application\/x-www-form-urlencoded\b/i.test(type)) return insideForm;
  return /[/+](?:html|xml)\b/i.test(type) ? insideMarkup : asItIs;
}

/** `application/x-www-form-urlencoded` reads the same from percent signs alone. */
function insideForm(value: unknown): string {
  // Without lone halves of characters, which cannot be encoded.
  return encodeURIComponent(Buffer.from(String(value)).toString());
}

function insideMarkup(value: unknown): string {
  return escaped(String(value));
}

/** RFC 8259 §7: what may stand between the quotation marks that the owner wrote. */
function insideJson(value: unknown): string {
  return JSON.stringify(String(value)).slice(1, -1);
}

function asItIs(value: unknown): string {
  return String(value);
}
