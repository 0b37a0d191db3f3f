/** A body of the owner's own, as it is written: JSON or one text, with places that name something of an event. */
import Mustache from 'mustache';
import * as z from 'zod';
import { type BodyTemplate, templateNames } from '../base/template-names.ts';
import { nearest } from './nearest.ts';
import { didYouMean } from './words.ts';

const known: ReadonlySet<string> = new Set(templateNames);
/** Those that hold others: sections may be about them as a whole. */
const holders: ReadonlySet<string> = new Set(['service', 'observation', 'outage']);

/** A place that names what no event has is a mistake, not an empty place in a message. */
export const bodyTemplate: z.ZodType<BodyTemplate, BodyTemplate> = z
  .json('expected a text, or a block of keys and texts')
  .superRefine((body, context) => {
    for (const { text, path } of textsOf(body, [])) {
      for (const message of complaintsOf(text)) context.addIssue({ code: 'custom', path, message });
    }
  });

interface Written {
  readonly text: string;
  readonly path: (string | number)[];
}

function textsOf(body: BodyTemplate, path: (string | number)[]): Written[] {
  if (typeof body === 'string') return [{ text: body, path }];
  if (body === null || typeof body !== 'object') return [];
  if (Array.isArray(body)) {
    return body.flatMap((item: BodyTemplate, index) => textsOf(item, [...path, index]));
  }
  return Object.entries(body).flatMap(([key, item]) => textsOf(item, [...path, key]));
}

function complaintsOf(text: string): string[] {
  try {
    return namesIn(Mustache.parse(text) as Token[])
      .filter((name) => !known.has(name) && !holders.has(name))
      .map(
        (name) =>
          `expected a name that an event has, such as {{summary}} or {{service.name}}: {{${name}}} is none${didYouMean(nearest(name, templateNames))}`,
      );
  } catch (thrown) {
    const said = thrown instanceof Error ? thrown.message : String(thrown);
    return [`expected {{name}}, {{#name}}…{{/name}} and text around them: ${said}`];
  }
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
        return name === '.' ? [] : [name];
      case '&':
        throw new Error(
          `write {{${name}}}: what is filled in is always made fit for where it stands`,
        );
      case '>':
        throw new Error(`there are no parts to include with {{>`);
      default:
        return [];
    }
  });
}
