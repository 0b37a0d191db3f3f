/** The range that a request asks about: completed, ordered, bounded. */
import { formatDuration } from '../base/durations.ts';
import type { Range } from '../record/record.ts';
import { RequestProblem } from './problems.ts';

const defaultRangeMs = 24 * 3_600_000;

/** Throws a RequestProblem that says which bound is wrong and how. */
export function rangeOf(
  query: { readonly from?: number | undefined; readonly to?: number | undefined },
  now: number,
  lengthMsMax: number,
): Range {
  const to = query.to ?? now;
  const from = query.from ?? to - defaultRangeMs;
  if (query.to === undefined && from > now) {
    throw wrong('from', 'lies in the future; without `to` the range ends now');
  }
  if (from >= to) throw wrong('from', 'expected an instant before `to`');
  if (to - from > lengthMsMax) {
    throw wrong('from', `expected a range of at most ${formatDuration(lengthMsMax)} up to \`to\``);
  }
  return { from, to };
}

export function wrong(parameter: string, detail: string): RequestProblem {
  return new RequestProblem(400, `${parameter}: ${detail}`, [{ parameter, detail }]);
}
