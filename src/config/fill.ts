/** Puts in what the file only names: `${NAME}` from the environment, `file:PATH` from a file. */
import { dirname, resolve } from 'node:path';
import type { TextRead } from './files.ts';
import type { Located, LocatedEntry, LocatedScalar } from './located.ts';
import type { Path, Place } from './mistake.ts';
import { nearest } from './nearest.ts';

export type Env = Readonly<Record<string, string | undefined>>;

export interface FillMistake {
  readonly at: Place;
  readonly path: Path;
  readonly message: string;
}

/** A text that came from outside of the file, and what its place in the file is. */
export interface Filling {
  readonly path: Path;
  readonly text: string;
}

export interface Filled {
  readonly root: Located;
  readonly mistakes: readonly FillMistake[];
  readonly fillings: readonly Filling[];
}

interface FillSources {
  /** Of the configuration: `file:PATH` is relative to its folder. */
  readonly file: string;
  readonly env: Env;
  /** Never throws for what can be wrong with a file. */
  readonly readNamed: (path: string) => TextRead;
}

/** What people read is never a file's content, so that `note: file:///…` and the like stay what they are. */
const neverFiles: ReadonlySet<string | number | undefined> = new Set([
  'name',
  'note',
  'open',
  'title',
  'group',
]);

/** One `$${`, a `${NAME}`, or a `${` that is neither. */
const variables = /\$\$\{|\$\{(?:([A-Za-z_][A-Za-z0-9_]*)\})?/g;

export function fill(root: Located, sources: FillSources): Filled {
  const mistakes: FillMistake[] = [];
  const fillings: Filling[] = [];
  const walk = (node: Located, path: Path): Located => {
    if (node.type === 'list') {
      return { ...node, items: node.items.map((item, index) => walk(item, [...path, index])) };
    }
    if (node.type === 'map') {
      const entries = new Map<string, LocatedEntry>();
      for (const [key, { keyAt, value }] of node.entries) {
        entries.set(key, { keyAt, value: walk(value, [...path, key]) });
      }
      return { ...node, entries };
    }
    if (typeof node.value !== 'string') return node;
    const result = fillText(node.value, path, sources);
    for (const message of result.mistakes) mistakes.push({ at: node.at, path, message });
    for (const text of result.fillings) fillings.push({ path, text });
    return filledScalar(node, result);
  };
  return { root: walk(root, []), mistakes, fillings };
}

interface FilledText {
  readonly text: string;
  readonly source: string | null;
  readonly mistakes: readonly string[];
  /** The parts that came from outside. */
  readonly fillings: readonly string[];
}

function filledScalar(node: LocatedScalar, result: FilledText): LocatedScalar {
  const broken = result.mistakes.length > 0;
  return { ...node, value: broken ? null : result.text, source: result.source, broken };
}

function fillText(written: string, path: Path, sources: FillSources): FilledText {
  const replaced = fillVariables(written, sources.env);
  // As written: a variable whose value happens to begin with `file:` names no file.
  const isFile = /^file:(?!\/\/)./.test(written) && !neverFiles.has(path.at(-1));
  if (!isFile || replaced.mistakes.length > 0) return replaced;
  const named = resolve(dirname(sources.file), replaced.text.slice('file:'.length).trim());
  const content = sources.readNamed(named);
  if (content.ok) {
    return { text: content.text, source: '`file:`', mistakes: [], fillings: [content.text] };
  }
  const shown = replaced.source === null ? named : written.slice('file:'.length);
  return { ...replaced, mistakes: [`the file ${shown} ${content.why}`] };
}

function fillVariables(written: string, env: Env): FilledText {
  const mistakes: string[] = [];
  const fillings: string[] = [];
  let source: string | null = null;
  const text = written.replace(variables, (match: string, name: string | undefined) => {
    if (match === '$${') return '${';
    if (name === undefined) {
      mistakes.push(
        `expected \`\${NAME}\`, a name of letters, digits and _ in braces; for the signs themselves write \`$\${\``,
      );
      return '';
    }
    source ??= `\`\${${name}}\``;
    const value = Object.hasOwn(env, name) ? env[name] : undefined;
    if (value === undefined) mistakes.push(missingVariable(name, env));
    else fillings.push(value);
    return value ?? '';
  });
  return { text, source, mistakes, fillings };
}

function missingVariable(name: string, env: Env): string {
  const near = nearest(name, Object.keys(env));
  const question = near === null ? '' : `; did you mean \`\${${near}}\`?`;
  return `the environment has no \`\${${name}}\`${question}`;
}
