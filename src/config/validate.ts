/** The file against the schema. */
import { sayExpected } from './expected.ts';
import { type Finding, findingsOf } from './issues.ts';
import { type Located, memberOf, plain, valueAt } from './located.ts';
import type { Path } from './mistake.ts';
import { configSchema, type WrittenConfig } from './schema.ts';

interface Validated {
  /** Null when something is wrong. */
  readonly parsed: WrittenConfig | null;
  /** The file as plain values. */
  readonly value: unknown;
  readonly findings: readonly Finding[];
}

/**
 * The environment knows only texts: where one does not fit and spells a number or a truth value, that is tried
 * (`port: ${PORT}`).
 */
export function validate(root: Located): Validated {
  const value = plain(root);
  const asTexts = judge(value);
  const spelt = asTexts.findings.filter(({ path }) => putLiteral(root, value, path));
  return spelt.length === 0 ? asTexts : judge(value);
}

function judge(value: unknown): Validated {
  const result = configSchema.safeParse(value, { error: sayExpected });
  return result.success
    ? { parsed: result.data, value, findings: [] }
    : { parsed: null, value, findings: findingsOf(result.error.issues) };
}

/** Puts the literal that the text from outside at this path spells into `value`; false where it spells none. */
function putLiteral(root: Located, value: unknown, path: Path): boolean {
  const node = valueAt(root, path);
  const key = path.at(-1);
  if (node?.type !== 'scalar' || node.source === null || key === undefined) return false;
  const literal = typeof node.value === 'string' ? literalOf(node.value) : null;
  const block = path.slice(0, -1).reduce<unknown>(memberOf, value);
  return literal !== null && Reflect.set(Object(block), key, literal);
}

function literalOf(text: string): number | boolean | null {
  if (text === 'true' || text === 'false') return text === 'true';
  return /^-?\d{1,15}(\.\d{1,9})?$/.test(text) ? Number(text) : null;
}
