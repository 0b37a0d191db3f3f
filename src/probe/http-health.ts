/**
 * `application/health+json`: a service's report on itself. Source: draft-inadarei-api-health-check-06 (expired, never a
 * standard), §3: the root field `status` is pass (also ok, up), warn, or fail (also error, down), in any case.
 */
import { cleanText } from '../base/text.ts';
import type { Trouble } from '../base/values.ts';
import { trouble } from './observe.ts';

interface Report {
  readonly status: number;
  readonly body: Buffer;
}

/** Of the report, and of each measurement in it. Anything may stand there. */
interface Fields {
  readonly status?: unknown;
  readonly output?: unknown;
  readonly checks?: unknown;
  /** The name of `checks` in early drafts. */
  readonly details?: unknown;
}

const meanings: Readonly<Record<string, 'pass' | 'warn' | 'fail'>> = {
  pass: 'pass',
  ok: 'pass',
  up: 'pass',
  warn: 'warn',
  fail: 'fail',
  error: 'fail',
  down: 'fail',
};

/** Whether an answer with these header fields is such a report. */
export function saysHealth(headers: Readonly<Record<string, string | undefined>>): boolean {
  return /^application\/health\+json\s*(;|$)/i.test(headers['content-type'] ?? '');
}

/** Null: it passes. Whether the HTTP status agrees is judged by the caller. */
export function judgeHealth({ status, body }: Report): Trouble | null {
  const report = parse(body);
  if (report === null) return trouble('malformed', 'its health report cannot be read');
  const word = typeof report.status === 'string' ? report.status.toLowerCase() : '';
  const meaning = Object.hasOwn(meanings, word) ? meanings[word] : undefined;
  if (meaning === undefined) {
    return trouble('malformed', 'its health report says neither pass nor warn nor fail');
  }
  if (meaning === 'pass') return null;
  const why = whyOf(report);
  const said = `its health report says "${word}" (status ${status})${why === '' ? '' : `: ${why}`}`;
  return trouble(meaning === 'fail' ? 'server-error' : 'warns', said);
}

function parse(body: Buffer): Fields | null {
  try {
    const parsed: unknown = JSON.parse(body.toString());
    return isFields(parsed) ? parsed : null;
  } catch {
    return null;
  }
}

/** Its own words, or the checks that do not pass. */
function whyOf(report: Fields): string {
  if (typeof report.output === 'string' && report.output !== '') {
    return cleanText(report.output, 120);
  }
  const checks = report.checks ?? report.details;
  if (!isFields(checks)) return '';
  const poor = Object.entries(checks).filter(([, measured]) => !passes(measured));
  return cleanText(
    poor
      .map(([name]) => name.slice(0, 80))
      .slice(0, 5)
      .join(', '),
    120,
  );
}

/** A check is a list of measurements, or, in many services, one of them. */
function passes(measured: unknown): boolean {
  const list: readonly unknown[] = Array.isArray(measured) ? measured : [measured];
  return list.every((one) => {
    if (!isFields(one) || typeof one.status !== 'string') return true;
    return meanings[one.status.toLowerCase()] === 'pass';
  });
}

function isFields(value: unknown): value is Fields {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}
