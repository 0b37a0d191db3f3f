/**
 * The owner's own body in place of the event: a text, or JSON whose texts are templates. Logic-less (mustache): values,
 * sections for what may be missing, nothing that runs. What is filled in is escaped for where it stands, and a name that no
 * event has is a mistake of the configuration, not an empty place in a message.
 */
import Mustache from 'mustache';
import type { Event } from './event.ts';

/** A JSON value whose texts are templates; or one text. */
export type BodyTemplate =
  | string
  | number
  | boolean
  | null
  | readonly BodyTemplate[]
  | { readonly [key: string]: BodyTemplate };

/** What a template may name. Not every event has each of them: then the place is empty, and a section on it is left out. */
export const templateNames = [
  'id',
  'type',
  'time',
  'summary',
  'text',
  'link',
  'state',
  'previous',
  'since',
  'service.id',
  'service.name',
  'service.group',
  'service.open',
  'service.note',
  'observation.at',
  'observation.layer',
  'observation.reason',
  'observation.detail',
  'observation.hint',
  'outage.id',
  'outage.lastGoodAt',
  'outage.firstFailedAt',
  'outage.confirmedAt',
  'outage.restoredAt',
  'cause',
  'affected',
] as const;

const known: ReadonlySet<string> = new Set(templateNames);
/** Those that hold others: sections may be about them as a whole. */
const holders: ReadonlySet<string> = new Set(['service', 'observation', 'outage']);

/** What is wrong with a body, for people, one sentence each; empty: nothing. */
export function templateComplaints(body: BodyTemplate): readonly string[] {
  return textsOf(body).flatMap((text) => {
    try {
      return namesIn(Mustache.parse(text) as Token[])
        .filter((name) => !known.has(name) && !holders.has(name))
        .map((name) => `{{${name}}} is in no event; there are ${templateNames.join(', ')}`);
    } catch (thrown) {
      return [thrown instanceof Error ? thrown.message : String(thrown)];
    }
  });
}

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

function textsOf(body: BodyTemplate): readonly string[] {
  if (typeof body === 'string') return [body];
  if (body === null || typeof body !== 'object') return [];
  return Object.values(body).flatMap(textsOf);
}

/** As mustache parses: what it is, its name, where it stands, and for a section what is in it. */
type Token = readonly [
  kind: string,
  name: string,
  from: number,
  to: number,
  inner?: readonly Token[],
  ...rest: unknown[],
];

function namesIn(tokens: readonly Token[]): readonly string[] {
  return tokens.flatMap(([kind, name, , , inner]) => {
    switch (kind) {
      case '#':
      case '^':
        return [name, ...namesIn(inner ?? [])];
      case 'name':
      case '&':
        return name === '.' ? [] : [name];
      case '>':
        throw new Error(`{{> ${name}}}: there are no parts to include`);
      default:
        return [];
    }
  });
}

/** RFC 8259 §7: what may stand between the quotation marks that the owner wrote. */
function insideJson(value: unknown): string {
  return JSON.stringify(String(value)).slice(1, -1);
}

function asItIs(value: unknown): string {
  return String(value);
}
