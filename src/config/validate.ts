/** The file against the schema. */
import { sayExpected } from './expected.ts';
import { type Finding, findingsOf, wantedLiterals } from './issues.ts';
import { type Located, plain, valueAt } from './located.ts';
import type { Path } from './mistake.ts';
import { configSchema, type WrittenConfig } from './schema.ts';

export interface Validated {
  /** Null when something is wrong. */
  readonly parsed: WrittenConfig | null;
  /** The file as plain values. */
  readonly value: unknown;
  readonly findings: readonly Finding[];
}

export function validate(root: Located): Validated {
  const value = plain(root);
  let result = configSchema.safeParse(value, { error: sayExpected });
  if (!result.success && putLiterals(root, value, wantedLiterals(result.error.issues))) {
    result = configSchema.safeParse(value, { error: sayExpected });
  }
  return result.success
    ? { parsed: result.data, value, findings: [] }
    : { parsed: null, value, findings: findingsOf(result.error.issues) };
}

/** The environment knows only texts: `port: ${PORT}` is a number where one is wanted. Whether anything was changed. */
function putLiterals(root: Located, value: unknown, paths: readonly Path[]): boolean {
  let changed = false;
  for (const path of paths) {
    const node = valueAt(root, path);
    const text = node?.type === 'scalar' && node.source !== null ? node.value : null;
    if (typeof text !== 'string' || !/^(-?\d{1,15}(\.\d{1,9})?|true|false)$/.test(text)) continue;
    const parent = path
      .slice(0, -1)
      .reduce<unknown>((inner, step) => Reflect.get(Object(inner), step), value);
    changed = Reflect.set(Object(parent), path.at(-1) ?? '', literal(text)) || changed;
  }
  return changed;
}

function literal(text: string): number | boolean {
  return text === 'true' || text === 'false' ? text === 'true' : Number(text);
}
