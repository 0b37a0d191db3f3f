/** Flattens what zod found into single findings, each at its own path. */
import type * as z from 'zod';
import type { Path } from './mistake.ts';

type Issue = z.core.$ZodIssue;

export interface Finding {
  readonly path: Path;
  readonly kind: 'value' | 'key' | 'unknown-key';
  /** What was expected, or another sentence of the schema's own; empty for unknown keys. */
  readonly message: string;
}

export function findingsOf(issues: readonly Issue[], prefix: Path = []): Finding[] {
  return issues.flatMap((issue) => findings(issue, [...prefix, ...steps(issue.path)]));
}

function findings(issue: Issue, path: Path): Finding[] {
  switch (issue.code) {
    case 'unrecognized_keys':
      return issue.keys.map((key) => ({ path: [...path, key], kind: 'unknown-key', message: '' }));
    case 'invalid_key':
      return issue.issues.map(({ message }) => ({ path, kind: 'key', message }));
    case 'invalid_union':
      return unionFindings(issue, path);
    default:
      return [{ path, kind: 'value', message: issue.message }];
  }
}

/**
 * Of a union only the mistakes of the branch that was meant: the one that takes a value of this type at all. Where
 * none or several do, what the union says of itself.
 */
function unionFindings(issue: z.core.$ZodIssueInvalidUnion, path: Path): Finding[] {
  const fitting = issue.errors.filter((branch) => !branch.some(isOtherType));
  const deepest = [...fitting].sort((a, b) => depthOf(b) - depthOf(a))[0];
  const meant = deepest !== undefined && (fitting.length === 1 || depthOf(deepest) > 0);
  if (meant && (issue.message === '' || depthOf(deepest) > 0)) return findingsOf(deepest, path);
  const messages = issue.errors.flat().map(({ message }) => message);
  const message = issue.message || messages.find((text) => text !== '') || 'expected another value';
  return [{ path, kind: 'value', message }];
}

function isOtherType(issue: Issue): boolean {
  return issue.path.length === 0 && issue.code === 'invalid_type';
}

function depthOf(branch: readonly Issue[]): number {
  return Math.max(
    ...branch.map(({ path, code }) => path.length + Number(code === 'unrecognized_keys')),
  );
}

function steps(path: readonly PropertyKey[]): Path {
  return path.map((step) => (typeof step === 'number' ? step : String(step)));
}
