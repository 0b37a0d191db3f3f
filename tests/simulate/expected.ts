/**
 * The same questions answered another way: from the list of all answers, backwards and forwards as is convenient, with
 * plain loops and no memory between them. What the judge, the record and the arithmetic say one observation after the
 * other is compared with this.
 */
import type { Span } from '../../src/base/values.ts';
import type { Interval } from '../../src/uptime/intervals.ts';
import type { Look, SimulatedService } from './world.ts';

/** An answer with the instant that it counts for. */
export interface Judged extends Look {
  readonly at: number;
}

/**
 * Where a clock was set back, the next answer counts for a millisecond after the service's last one, and not before any
 * other that there was: so all keep their order. `looks` of all services, as they came.
 */
export function judged(looks: readonly Look[]): readonly Judged[] {
  const lastAt = new Map<string, number>();
  let latest = 0;
  return looks.map((look) => {
    const { service, observation } = look;
    const last = lastAt.get(service) ?? Number.NEGATIVE_INFINITY;
    const at = observation.at > last ? observation.at : Math.max(last + 1, latest);
    lastAt.set(service, at);
    latest = Math.max(latest, at);
    return { ...look, at };
  });
}

export interface Stretch {
  readonly state: 'serving' | 'down' | 'unobserved';
  readonly from: number;
  /** The answer before, where that was of the other kind. */
  readonly earliest: number;
}

type Timing = Pick<SimulatedService, 'everyMs' | 'timeoutMs' | 'confirm' | 'restore'>;

interface Answer {
  readonly at: number;
  readonly serves: boolean;
}

/** Answers without a break, and since when nobody had looked before. */
interface Part {
  readonly from: number;
  readonly answers: readonly Answer[];
}

/** How late an answer may be: half an interval, from 2 s to 30 s (`judge/policy.ts`), and all the time of an exchange. */
function allowanceMs({ everyMs, timeoutMs }: Timing): number {
  return Math.min(Math.max(everyMs / 2, 2_000), 30_000) + timeoutMs;
}

/** Where no answer came when one was due: from the due instant to the next answer. */
export function unwatched(looks: readonly Judged[], timing: Timing): readonly Interval[] {
  return partsOf(looks, timing)
    .slice(1)
    .map(({ from, answers }) => ({ from, to: answers[0]?.at ?? from }));
}

function partsOf(looks: readonly Judged[], timing: Timing): readonly Part[] {
  const parts: { from: number; answers: Answer[] }[] = [];
  let latest = Number.NEGATIVE_INFINITY;
  for (const { at, observation } of looks) {
    const dueAt = latest + timing.everyMs;
    const answer = {
      at,
      serves: observation.outcome === 'answered' || observation.outcome === 'limited',
    };
    const part = parts.at(-1);
    if (!part) parts.push({ from: at, answers: [answer] });
    else if (at - dueAt > allowanceMs(timing)) parts.push({ from: dueAt, answers: [answer] });
    else part.answers.push(answer);
    latest = at;
  }
  return parts;
}

/** An outage by its first failed and its first good answer; null: it lasts. */
export interface OutageExpected {
  readonly firstFailedAt: number;
  readonly restoredAt: number | null;
}

/** For services that are seen directly and answer yes or no. */
export function courseExpected(
  looks: readonly Judged[],
  timing: Timing,
): { readonly stretches: readonly Stretch[]; readonly outages: readonly OutageExpected[] } {
  const stretches: Stretch[] = [];
  const outages: OutageExpected[] = [];
  const push = (state: Stretch['state'], from: number, earliest: number): void => {
    if (stretches.at(-1)?.from === from) stretches.pop();
    const before = stretches.at(-1)?.state;
    if (before === state) return;
    const isCertain = before === undefined || before === 'unobserved' || state === 'unobserved';
    stretches.push({ state, from, earliest: isCertain ? from : earliest });
  };
  let open: number | null = null;
  for (const { from, answers } of partsOf(looks, timing)) {
    push('unobserved', from, from);
    for (const { serves, first, before, count } of runsOf(answers)) {
      if (serves && (open === null || count >= timing.restore)) {
        if (open !== null) outages.push({ firstFailedAt: open, restoredAt: first });
        open = null;
        push('serving', first, before);
      } else if (!serves && (open !== null || count >= timing.confirm)) {
        open ??= first;
        push('down', first, before);
      }
    }
  }
  if (open !== null) outages.push({ firstFailedAt: open, restoredAt: null });
  return { stretches, outages };
}

function runsOf(answers: readonly Answer[]) {
  const runs: { serves: boolean; first: number; before: number; count: number }[] = [];
  for (const [nth, { at, serves }] of answers.entries()) {
    const run = runs.at(-1);
    if (run?.serves === serves) run.count++;
    else runs.push({ serves, first: at, before: answers[nth - 1]?.at ?? at, count: 1 });
  }
  return runs;
}

/** Milliseconds of a window in each state; the change from one to another is taken to be half way. */
export function timeExpected(
  stretches: readonly Stretch[],
  window: Interval,
): { readonly serving: number; readonly down: number; readonly unobserved: number } {
  const time = { serving: 0, down: 0, unobserved: 0 };
  const middle = ({ from, earliest }: Stretch) => earliest + Math.floor((from - earliest) / 2);
  for (const [nth, stretch] of stretches.entries()) {
    const next = stretches[nth + 1];
    const from = Math.max(middle(stretch), window.from);
    const to = Math.min(next ? middle(next) : window.to, window.to);
    if (from < to) time[stretch.state] += to - from;
  }
  const before = Math.min(stretches[0]?.from ?? window.to, window.to);
  if (window.from < before) time.unobserved += before - window.from;
  return time;
}

/** Spans of a record in the same words: up and degraded are one for those who ask whether it served. */
export function served(spans: readonly Span[]): readonly Pick<Stretch, 'state' | 'from'>[] {
  return spans
    .map(({ state, from }) => ({ state: isServing(state) ? 'serving' : state, from }) as const)
    .filter(({ state }, nth, all) => state !== all[nth - 1]?.state);
}

function isServing(state: Span['state']): state is 'up' | 'degraded' {
  return state === 'up' || state === 'degraded';
}
