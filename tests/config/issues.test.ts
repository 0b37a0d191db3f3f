/** Of a union, the mistakes of the branch that was meant. */
import { expect, test } from 'vitest';
import { z } from 'zod';
import { sayExpected } from '../../src/config/expected.ts';
import { findingsOf } from '../../src/config/issues.ts';

function issuesOf(schema: z.ZodType, value: unknown) {
  return schema.safeParse(value, { error: sayExpected }).error?.issues ?? [];
}

function saidOf(schema: z.ZodType, value: unknown): readonly string[] {
  return findingsOf(issuesOf(schema, value)).map(
    ({ path, message }) => `${path.join('.')} ${message}`,
  );
}

test('the branch that takes such a value at all speaks, whichever comes first', () => {
  const status = z.union([z.int(), z.string().regex(/^[2-5]xx$/, 'expected a class such as 2xx')]);
  expect(saidOf(status, 'abc')).toEqual([' expected a class such as 2xx']);
  expect(saidOf(status, 1.5)).toEqual([' expected a whole number']);
  const never = z.string().transform((_, context) => {
    context.addIssue({ code: 'custom', message: 'expected another word' });
    return z.NEVER;
  });
  expect(saidOf(z.union([z.int(), never]), 'abc')).toEqual([' expected another word']);
});

test('the branch that got furthest speaks when several take such a value', () => {
  const shape = z.union([
    z.strictObject({ port: z.int() }),
    z.strictObject({ path: z.strictObject({ depth: z.int() }) }),
  ]);
  expect(saidOf(shape, { path: { depth: 'x' } })).toEqual(['path.depth expected a number']);
});

test('where no branch takes such a value, the union speaks for itself, or its first branch', () => {
  const either = z.union([z.int(), z.string().min(2)], 'expected a number or a word');
  expect(saidOf(either, [])).toEqual([' expected a number or a word']);
  expect(saidOf(z.union([z.int(), z.string()]), [])).toEqual([' expected a number']);
});

test('of a record the keys and the values are judged', () => {
  const headers = z.record(z.string().regex(/^[a-z]+$/, 'expected small letters'), z.string());
  expect(findingsOf(issuesOf(headers, { A: 'x', b: 1 }))).toEqual([
    { path: ['A'], kind: 'key', message: 'expected small letters' },
    { path: ['b'], kind: 'value', message: 'expected a text' },
  ]);
});

test.each([
  [z.string().min(1), '', 'expected a text that is not empty'],
  [z.string().max(2), 'abc', 'expected at most 2 characters'],
  [z.number().min(2), 1, 'expected at least 2'],
  [z.array(z.int()).min(1), [], 'expected at least one in this list'],
  [z.array(z.int()).max(1), [1, 2], 'expected at most one in this list'],
  [z.boolean(), 'yes', 'expected true or false'],
  [z.array(z.int()), 'x', 'expected a list: [one, two], or a line `- one` for each'],
  [z.enum(['GET', 'HEAD']), 'get', 'expected GET or HEAD (did you mean GET?)'],
  [z.number().multipleOf(5), 7, 'expected a multiple of 5'],
  [z.url(), 'x', 'expected an address'],
  [z.string().regex(/^a/), 'b', 'expected a text of another form'],
])('where a schema says nothing of itself, it is said for it (%#)', (schema, value, said) => {
  expect(saidOf(schema, value)).toEqual([` ${said}`]);
});
