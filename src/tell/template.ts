/**
 * The owner's own body in place of the event: a text, or JSON whose texts are templates. Logic-less (mustache): values,
 * sections for what may be missing, nothing that runs. What is filled in is escaped for where it stands, and a name that no
 * event has is a mistake of the configuration, not an empty place in a message.
 */
import Mustache from 'mustache';
import { type BodyTemplate, templateNames } from '../base/template-names.ts';
import type { Event } from './event.ts';

/** The body and its media type. `json`: a body that is one text will be read as JSON (its header says so). */
export function renderBody(
  body: BodyTemplate,
  event: Event,
  given: { readonly json: boolean },
): { readonly body: string; readonly type: string } {
  const view = viewOf(event);
  if (typeof body === 'string') {
    const escaped = given.json ? insideJson : asItIs;
    const type = given.json ? 'application/json' : 'text/plain; charset=utf-8';
    return { body: Mustache.render(body, view, {}, { escape: escaped }), type };
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

/** RFC 8259 §7: what may stand between the quotation marks that the owner wrote. */
function insideJson(value: unknown): string {
  return JSON.stringify(String(value)).slice(1, -1);
}

function asItIs(value: unknown): string {
  return String(value);
}
