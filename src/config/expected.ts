/**
 * What was expected, in plain words, where a schema does not say so itself: our words in the place of zod's.
 * Every sentence begins with "expected", so that "found …" can stand before it.
 */
import type * as z from 'zod';
import { nearest } from './nearest.ts';
import { didYouMean, orList } from './words.ts';

const types: Readonly<Record<string, string>> = {
  string: 'a text',
  number: 'a number',
  int: 'a whole number',
  boolean: 'true or false',
  array: 'a list: [one, two], or a line `- one` for each',
  object: 'a block of keys, each `key: value`',
  record: 'a block of keys, each `key: value`',
};

/** The `error` of a parse; empty where the issue holds others that say it better. */
export const sayExpected: z.core.$ZodErrorMap = (issue) => {
  switch (issue.code) {
    case 'invalid_type':
      return `expected ${types[issue.expected] ?? issue.expected}`;
    case 'invalid_value':
      return sayChoice(issue.values, issue.input);
    case 'too_small':
      return sayBound(issue.origin, 'at least', Number(issue.minimum));
    case 'too_big':
      return sayBound(issue.origin, 'at most', Number(issue.maximum));
    case 'not_multiple_of':
      return `expected a multiple of ${issue.divisor}`;
    case 'invalid_format':
      return issue.format === 'url' ? 'expected an address' : 'expected a text of another form';
    case 'unrecognized_keys':
    case 'invalid_union':
    case 'invalid_key':
    case 'invalid_element':
      return '';
    default:
      return 'expected another value';
  }
};

function sayChoice(values: readonly z.core.util.Primitive[], input: unknown): string {
  const words = values.map(String);
  const near = typeof input === 'string' ? nearest(input, words) : null;
  return `expected ${orList(words)}${didYouMean(near)}`;
}

function sayBound(origin: string, side: string, bound: number): string {
  if (origin === 'string') {
    return side === 'at least' && bound === 1
      ? 'expected a text that is not empty'
      : `expected ${side} ${bound} characters`;
  }
  if (origin === 'array' || origin === 'set') {
    return `expected ${side} ${bound === 1 ? 'one' : bound} in this list`;
  }
  return `expected ${side} ${bound}`;
}
