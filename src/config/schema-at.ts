/** Looks into a zod schema: which keys a block may have at a place, and whether a value there is a secret. */
import * as z from 'zod';
import { memberOf } from './located.ts';

type Schema = z.core.$ZodType;

/** A place within a schema. */
export interface SchemaAt {
  /** What may stand here: several where a union leaves it open. */
  readonly schemas: readonly Schema[];
  /** Whether the value, or something that it is a part of, is marked `secret`. */
  readonly secret: boolean;
  /** The plain value that stands here: it chooses among the kinds of a union. */
  readonly value: unknown;
}

export function schemaRoot(root: Schema, value: unknown): SchemaAt {
  const schemas = unfold(root, value);
  return { schemas, secret: schemas.some(isSecret), value };
}

export function schemaStep(at: SchemaAt, step: PropertyKey): SchemaAt {
  const value = memberOf(at.value, step);
  const schemas = at.schemas
    .flatMap((schema) => childrenOf(schema, step))
    .flatMap((schema) => unfold(schema, value));
  return { schemas, secret: at.secret || schemas.some(isSecret), value };
}

/** Follows `path` into the schema; `value` is what stands at its root. */
export function schemaAt(root: Schema, path: readonly PropertyKey[], value: unknown): SchemaAt {
  return path.reduce<SchemaAt>(schemaStep, schemaRoot(root, value));
}

/** Keys that the block at this place may have; none where it is no block, or has any. */
export function keysOf({ schemas }: SchemaAt): readonly string[] {
  return [...new Set(schemas.flatMap((schema) => Object.keys(shapeOf(schema) ?? {})))];
}

/** The schema itself and, where it only wraps others, those within. */
function unfold(schema: Schema, value: unknown): Schema[] {
  const { def } = (schema as z.core.$ZodTypes)._zod;
  switch (def.type) {
    case 'optional':
    case 'nullable':
    case 'default':
    case 'prefault':
    case 'readonly':
    case 'nonoptional':
    case 'catch':
      return [schema, ...unfold(def.innerType, value)];
    case 'pipe':
      // What goes in is what people write; a preprocessing step says nothing of it.
      return [schema, ...unfold(isTransform(def.in) ? def.out : def.in, value)];
    case 'lazy':
      return [schema, ...unfold(def.getter(), value)];
    case 'union':
      return [schema, ...chosen(def, value).flatMap((option) => unfold(option, value))];
    default:
      return [schema];
  }
}

function isTransform(schema: Schema): boolean {
  return schema._zod.def.type === 'transform';
}

/** In a union of kinds the one that the value names. */
function chosen(def: z.core.$ZodUnionDef, value: unknown): readonly Schema[] {
  const discriminator = 'discriminator' in def ? String(def.discriminator) : null;
  if (discriminator === null) return def.options;
  const kind = memberOf(value, discriminator);
  const fitting = def.options.filter((option) =>
    option._zod.propValues?.[discriminator]?.has(kind as z.core.util.Primitive),
  );
  return fitting.length > 0 ? fitting : def.options;
}

function childrenOf(schema: Schema, step: PropertyKey): readonly Schema[] {
  const { def } = (schema as z.core.$ZodTypes)._zod;
  if (def.type === 'array') return [def.element];
  if (def.type === 'record') return [def.valueType];
  const shape = shapeOf(schema);
  if (shape === null || typeof step !== 'string' || !Object.hasOwn(shape, step)) return [];
  const inner = shape[step];
  return inner === undefined ? [] : [inner];
}

function shapeOf(schema: Schema): Readonly<Record<string, Schema>> | null {
  const { def } = (schema as z.core.$ZodTypes)._zod;
  return def.type === 'object' ? def.shape : null;
}

function isSecret(schema: Schema): boolean {
  const { secret } = z.globalRegistry.get(schema) ?? {};
  return secret === true;
}
