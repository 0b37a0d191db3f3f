/** What is said of a job's trouble: a clause that completes "Nightly backup failed: …". Times of day are those of its own zone. */
import { sayDuration } from '../base/durations.ts';
import type { JobPlan, JobRun } from '../base/jobs.ts';
import { lastLine } from '../base/output-tail.ts';
import { durationOf, type Unlike } from './usual.ts';

export function sayFailed(run: JobRun): string {
  const { exit, tail } = run;
  const tookMs = durationOf(run);
  const line = lastLine(tail ?? '');
  const signal = exit !== null && exit > 128 && exit <= 192 ? ` (signal ${exit - 128})` : '';
  const after = tookMs === null ? '' : ` after ${sayTook(tookMs)}`;
  return `exit status ${exit}${signal}${after}${line === '' ? '' : `: ${line}`}`;
}

export function sayOverdue(plan: JobPlan, dueAt: number, waitedFrom: number): string {
  const late = sayDuration(plan.allowMs);
  if (waitedFrom > dueAt) {
    return `not begun ${late} after somebody looked again; it was due at ${sayAt(plan, dueAt)}`;
  }
  return `not begun ${late} after it was due, at ${sayAt(plan, dueAt)}`;
}

export function sayHanging(plan: JobPlan, beganAt: number): string {
  return `still running ${sayDuration(plan.limitMs)} after it began, at ${sayAt(plan, beganAt)}`;
}

export function sayUnseen(plan: JobPlan, dueAt: number, judgedAt: number): string {
  return `nobody looked when it should have reported, at ${sayAt(plan, dueAt)}; it is judged at ${sayAt(plan, judgedAt)}`;
}

export function sayRunningSlow(usualMs: number, slowMs: number): string {
  return `running for more than ${sayTook(slowMs)}; it usually takes ${sayTook(usualMs)}`;
}

export function sayUnlike(unlike: Unlike): string {
  switch (unlike.kind) {
    case 'slow':
      return `it took ${sayTook(unlike.tookMs)}; it usually takes ${sayTook(unlike.usualMs)}`;
    case 'value': {
      const { value, usual, unit } = unlike;
      const of = unit === null ? '' : ` ${unit}`;
      return `it ended well but told ${sayNumber(value)}${of}; usual are ${sayNumber(usual)}${of}`;
    }
    case 'size':
      return `it ended well but wrote ${sayNumber(unlike.sizeBytes)} bytes of output; usual are ${sayNumber(unlike.usual)}`;
  }
}

/** `3 min 12 s`: a run is told more exactly than an outage. */
function sayTook(tookMs: number): string {
  const seconds = Math.round(tookMs / 1_000);
  const minutes = Math.floor(seconds / 60);
  if (minutes === 0 || minutes >= 60) return sayDuration(tookMs);
  return seconds % 60 === 0 ? `${minutes} min` : `${minutes} min ${seconds % 60} s`;
}

/** `2026-11-25 02:15 (Europe/Dublin)`. */
function sayAt({ timezone }: JobPlan, at: number): string {
  return `${clockOf(timezone).format(at)} (${timezone})`;
}

/** One is dear to make; there are as many as there are zones. */
const clocks = new Map<string, Intl.DateTimeFormat>();

function clockOf(timeZone: string): Intl.DateTimeFormat {
  const known = clocks.get(timeZone);
  if (known) return known;
  const clock = new Intl.DateTimeFormat('sv-SE', {
    timeZone,
    dateStyle: 'short',
    timeStyle: 'short',
  });
  clocks.set(timeZone, clock);
  return clock;
}

function sayNumber(value: number): string {
  return new Intl.NumberFormat('en', { maximumSignificantDigits: 4 }).format(value);
}
