/** The JSON Schema for editors, judged by a validator of its own. */
// biome-ignore-all lint/suspicious/noTemplateCurlyInString: the configuration's own variables are what is tested
import { readFileSync } from 'node:fs';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { expect, test } from 'vitest';
import { parse } from 'yaml';
import { configJsonSchema } from '../../src/config/json-schema.ts';

const schema = configJsonSchema();
const example: unknown = parse(
  readFileSync(new URL('../../config.example.yaml', import.meta.url), 'utf8'),
);

// Strict: unknown keywords and types that cannot be are errors of the schema.
const validate = new Ajv2020({ strict: true, allowUnionTypes: true, allErrors: true }).compile(
  schema,
);

function errorsOf(value: unknown): readonly string[] {
  return validate(value)
    ? []
    : (validate.errors ?? []).map(({ instancePath, keyword }) => `${instancePath} ${keyword}`);
}

function withService(service: object): object {
  return { services: [{ name: 'Shop', probe: 'tcp://nas:1', ...service }] };
}

test('it is JSON Schema 2020-12, with an id of its own', () => {
  expect(schema.$schema).toBe('https://json-schema.org/draft/2020-12/schema');
  expect(schema.$id).toBe('urn:rollcall:config');
  expect(JSON.parse(JSON.stringify(schema))).toEqual(schema);
});

test('the example is valid by it', () => {
  expect(errorsOf(example)).toEqual([]);
});

test('unknown keys are not', () => {
  expect(errorsOf({ ...withService({}), kilns: [] })).toEqual([' additionalProperties']);
  expect(errorsOf(withService({ intervall: '30s' }))).toEqual(['/services/0 additionalProperties']);
});

test('variables and files may stand where something particular is wanted', () => {
  expect(errorsOf(withService({ every: '${EVERY}', confirm: '${TIMES}' }))).toEqual([]);
  expect(errorsOf(withService({ probe: '${PROBE}' }))).toEqual([]);
  expect(
    errorsOf(withService({ probe: { kind: 'tcp', host: '${HOST}', port: '${PORT}' } })),
  ).toEqual([]);
  expect(errorsOf(withService({ every: 'now and then' }))).not.toEqual([]);
});

test('secrets are marked as what is written and not read again', () => {
  expect(JSON.stringify(schema)).toContain('"writeOnly":true');
  expect(JSON.stringify(schema)).not.toContain('"secret":true');
});

test('every key says what it is for', () => {
  expect(silentKeys(schema, '')).toEqual([]);
});

/** Of the blocks of the configuration itself; the probes speak for themselves. */
function silentKeys(block: object, path: string): readonly string[] {
  const inner = 'items' in block && typeof block.items === 'object' ? block.items : block;
  if (inner === null || !('properties' in inner)) return [];
  return Object.entries(inner.properties as Readonly<Record<string, object>>).flatMap(
    ([key, member]) => {
      const here = 'description' in member ? [] : [`${path}.${key}`];
      return [...here, ...silentKeys(member, `${path}.${key}`)];
    },
  );
}
