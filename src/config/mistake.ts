/** A mistake in the configuration, with its place; and how it is printed. */
import { RollcallError } from '../base/errors.ts';

export interface Place {
  /** From 1. */
  readonly line: number;
  /** From 1, in UTF-16 code units. */
  readonly column: number;
}

export interface Mistake extends Place {
  /** The configuration file as it was named. */
  readonly file: string;
  /** `services[2].probe.port`; empty for the file as a whole. */
  readonly path: string;
  /** One sentence for a person: what was found, what was expected, what was probably meant. Holds no secret. */
  readonly message: string;
}

export type Path = readonly (string | number)[];

/** `['services', 2, 'probe']` → `services[2].probe`. */
export function pathText(path: Path): string {
  let text = '';
  for (const step of path) {
    if (typeof step === 'number') text += `[${step}]`;
    else text += text === '' ? step : `.${step}`;
  }
  return text;
}

/** By line, column, then path; without repetitions. */
export function inOrder(mistakes: readonly Mistake[]): readonly Mistake[] {
  const sorted = [...mistakes].sort(
    (a, b) => a.line - b.line || a.column - b.column || compare(a.path, b.path),
  );
  const seen = new Set<string>();
  return sorted.filter((mistake) => {
    const line = formatMistake(mistake);
    return seen.has(line) ? false : Boolean(seen.add(line));
  });
}

/** `rollcall.yaml:12:9: …`: the form in which editors and terminals find the place. */
export function formatMistake(mistake: Mistake): string {
  return `${mistake.file}:${mistake.line}:${mistake.column}: ${mistake.message}`;
}

/** The error that a command ends with: every mistake on a line of its own. */
export function configError(mistakes: readonly Mistake[]): RollcallError {
  return new RollcallError('config-invalid', mistakes.map(formatMistake).join('\n'));
}

function compare(a: string, b: string): number {
  if (a === b) return 0;
  return a < b ? -1 : 1;
}
