/** A text that an answer must contain: as it stands, or `/…/`, a regular expression. */
import * as z from 'zod';

const form = /^\/(.+)\/([imsu]{0,4})$/s;

export const expectedText = z
  .string('expected a text')
  .min(1, 'expected a text that is not empty')
  .max(1_024, 'expected a text of at most 1024 characters')
  .refine((text) => form.exec(text) === null || patternOf(text) !== null, {
    error: 'expected a regular expression between the slashes',
  })
  .describe(
    'Text that the answer must contain; /…/ is a regular expression, with flags i, m, s, u.',
  );

/** The regular expression that the text stands for; null: it is meant as it stands. */
export function patternOf(text: string): RegExp | null {
  const [, source, flags] = form.exec(text) ?? [];
  if (source === undefined) return null;
  try {
    return new RegExp(source, flags);
  } catch {
    return null;
  }
}
