/** The file against the schema. */
import { sayExpected } from './expected.ts';
import { type Finding, findingsOf } from './issues.ts';
import { type Located, memberOf, plain, valueAt } from './located.ts';
import { type Path, pathText } from './mistake.ts';
import { configSchema, type WrittenConfig } from './schema.ts';

interface Validated {
  /** Null when something is wrong. */
  readonly parsed: WrittenConfig | null;
  /** The file as plain values. */
  readonly value: unknown;
  readonly findings: readonly Finding[];
}

/**
 * The environment knows only texts: where one of them does not fit but the number or truth value that it spells does,
 * that is meant (`port: ${PORT}`).
 */
export function validate(root: Located): Validated {
  const value = plain(root);
  const first = judge(value);
  const spelt = first.findings.filter(({ path }) => put(root, value, path, literalOf));
  if (spelt.length === 0) return first;
  const second = judge(value);
  const wrong = new Set(second.findings.map(({ path }) => pathText(path)));
  const kept = spelt.filter(({ path }) => wrong.has(pathText(path)));
  if (kept.length === 0) return second;
  for (const { path } of kept) put(root, value, path, (text) => text);
  return judge(value);
}

function judge(value: unknown): Validated {
  const result = configSchema.safeParse(value, { error: sayExpected });
  return result.success
    ? { parsed: result.data, value, findings: [] }
    : { parsed: null, value, findings: findingsOf(result.error.issues) };
}

/** Puts what the text from outside at this path stands for into `value`; false where there is none. */
function put(
  root: Located,
  value: unknown,
  path: Path,
  meaningOf: (text: string) => string | number | boolean | null,
): boolean {
  const node = valueAt(root, path);
  const key = path.at(-1);
  if (node?.type !== 'scalar' || node.source === null || key === undefined) return false;
  const meaning = typeof node.value === 'string' ? meaningOf(node.value) : null;
  const block = path.slice(0, -1).reduce<unknown>(memberOf, value);
  return meaning !== null && Reflect.set(Object(block), key, meaning);
}

function literalOf(text: string): number | boolean | null {
  if (text === 'true' || text === 'false') return text === 'true';
  return /^-?\d{1,15}(\.\d{1,9})?$/.test(text) ? Number(text) : null;
}
