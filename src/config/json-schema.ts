/** The JSON Schema of the configuration file, for editors: made of the same schema that validates it. */
import * as z from 'zod';
import { configSchema } from './schema.ts';

type JsonSchema = z.core.JSONSchema.BaseSchema;

/** Draft 2020-12, of the file as it is written, before `${NAME}` and `file:PATH` are put in. */
export function configJsonSchema(): JsonSchema {
  const schema = z.toJSONSchema(configSchema, {
    target: 'draft-2020-12',
    io: 'input',
    override: ({ jsonSchema }) => adapt(jsonSchema),
  });
  return {
    $id: 'urn:rollcall:config',
    title: 'Rollcall configuration',
    ...schema,
    $defs: { ...schema.$defs, filled },
  };
}

/** What stands in the file in the place of the value meant. */
const filled: JsonSchema = {
  description:
    'A variable of the environment in braces, or file: and a path: what stands there is put in.',
  type: 'string',
  pattern: '\\$\\{[A-Za-z_][A-Za-z0-9_]*\\}|^file:(?!//).',
};

/** Our own mark becomes the standard's annotation (Validation §9.4); a value that is no free text may be a variable. */
function adapt(schema: JsonSchema): void {
  const { secret } = schema;
  if (secret === true) {
    Reflect.deleteProperty(schema, 'secret');
    schema.writeOnly = true;
  }
  // zod writes the bounds of what a double can count exactly: nobody asked.
  if (schema.maximum === Number.MAX_SAFE_INTEGER) delete schema.maximum;
  if (schema.minimum === Number.MIN_SAFE_INTEGER) delete schema.minimum;
  if (!isParticular(schema)) return;
  const { description, default: ordinary, ...own } = schema;
  for (const key of Object.keys(own)) delete schema[key];
  schema.anyOf = [own, { $ref: '#/$defs/filled' }];
}

function isParticular({ type, enum: choices, pattern, format }: JsonSchema): boolean {
  if (type === 'integer' || type === 'number' || type === 'boolean') return true;
  return type === 'string' && (choices ?? pattern ?? format) !== undefined;
}
