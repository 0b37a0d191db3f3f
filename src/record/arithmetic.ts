/**
 * Whether what the record says of a service follows from its answers: its spans, its outages and its unconfirmed failures
 * are worked out anew from them, as far as they can be without the settings of the time. Those are not kept; so how many
 * failures make an outage is not known here, but each edge must be an answer that can be one, and nothing may lie between
 * that would have moved it (the rules of judge/table.ts). Pure.
 */
import { instantText } from '../base/instants.ts';
import type { Outage, Span, UnconfirmedFailure } from '../base/values.ts';
import type { Answers } from './answers.ts';
import type { Range } from './record.ts';

export interface Course {
  /** In order of time, as are the others. */
  readonly spans: readonly Span[];
  readonly outages: readonly Outage[];
  readonly unconfirmed: readonly UnconfirmedFailure[];
  readonly answers: Answers;
  /** Times of which the answers do not tell all: forgotten, lost, or given while the clock was set back. */
  readonly doubtful: readonly Range[];
}

/** Sentences, in order of time within each kind; empty: all of it follows. */
export function contradictionsIn(course: Course): readonly string[] {
  const look = looker(course);
  return [
    ...course.spans.flatMap((span, place) => spanFaults(look, span, place)),
    ...course.outages.flatMap((outage, place) => outageFaults(look, outage, place)),
    ...course.unconfirmed.flatMap((failure) => unconfirmedFaults(look, failure)),
  ];
}

type Kind = 'served' | 'bad' | 'any';

interface Look {
  readonly course: Course;
  /** Whether an answer of this kind was given at this instant, or nobody can tell. */
  isEdge(kind: Kind, instant: number): boolean;
  /** Whether an answer of this kind was given between the two, without either. */
  isBetween(kind: Kind, after: number, before: number): boolean;
  /** Whether nobody can tell of this instant. */
  isDoubtful(instant: number): boolean;
}

function looker(course: Course): Look {
  const { answers, doubtful } = course;
  const isDoubtful = (instant: number): boolean =>
    doubtful.some(({ from, to }) => instant >= from && instant < to);
  const fits = (kind: Kind, place: number): boolean =>
    kind === 'any' || kindAt(answers, place) === kind;
  return {
    course,
    isDoubtful,
    isEdge: (kind, instant) => {
      if (isDoubtful(instant)) return true;
      for (let place = answers.placeAt(instant); answers.at(place) === instant; place++) {
        if (fits(kind, place)) return true;
      }
      return false;
    },
    isBetween: (kind, after, before) => {
      for (let place = answers.placeAt(after + 1); answers.at(place) < before; place++) {
        if (fits(kind, place) && !isDoubtful(answers.at(place))) return true;
      }
      return false;
    },
  };
}

/** `unproven` is bad where lasting silence counts as being down. */
function kindAt(answers: Answers, place: number): Exclude<Kind, 'any'> {
  const outcome = answers.outcome(place);
  return outcome === 'answered' || outcome === 'limited' ? 'served' : 'bad';
}

/** So many good answers in a row may at most be wanted before an outage is over (config/words.ts). */
const restoreMax = 20;

/** What is wrong with one thing: each sentence that holds, behind the name of the thing. */
function complaints(name: string, found: readonly Complaint[]): string[] {
  return found.flatMap(([isSo, what]) => (isSo ? [`${name} ${what}.`] : []));
}

function spanFaults(look: Look, span: Span, place: number): string[] {
  const before = look.course.spans[place - 1];
  return complaints(`The stay ${span.state} from ${instantText(span.from)}`, [
    [before?.state === span.state, 'goes on in the state before it'],
    [span.earliestFrom > span.from, 'may have begun after it began'],
    [
      before !== undefined && span.earliestFrom < before.from,
      'may have begun before the one before it',
    ],
    [!isBegun(look, span, before), 'begins with no answer that shows it'],
    [span.state === 'down' && !isCovered(look.course, span), 'has no outage'],
    [longestServed(look, span) > restoreMax, 'goes on over good answers'],
    [unaccounted(look, span), 'holds failures that nothing accounts for'],
  ]);
}

function isBegun(look: Look, { state, from }: Span, before: Span | undefined): boolean {
  switch (state) {
    case 'up':
      return look.isEdge('served', from);
    case 'down':
      return look.isEdge('bad', from);
    case 'degraded':
      return look.isEdge('any', from);
    case 'unobserved':
      // Where nobody looked it begins when an answer was due and did not come.
      return before !== undefined || look.isEdge('any', from);
  }
}

function isCovered({ outages }: Course, { from }: Span): boolean {
  return outages.some(
    ({ firstFailedAt, restoredAt }) =>
      firstFailedAt <= from && (restoredAt === null || restoredAt > from),
  );
}

/** The longest run of good answers in a stay that good answers end. */
function longestServed(look: Look, { state, from, to }: Span): number {
  if (state !== 'down' && state !== 'unobserved') return 0;
  const { answers } = look.course;
  let [run, longest] = [0, 0];
  const end = to ?? Number.POSITIVE_INFINITY;
  for (let place = answers.placeAt(from); answers.at(place) < end; place++) {
    if (look.isDoubtful(answers.at(place))) continue;
    run = kindAt(answers, place) === 'served' ? run + 1 : 0;
    longest = Math.max(longest, run);
  }
  return longest;
}

/** A failure amid good answers was not confirmed; then the record says so. */
function unaccounted(look: Look, { state, from, to }: Span): boolean {
  if (state !== 'up' && state !== 'degraded') return false;
  const { answers, unconfirmed } = look.course;
  const end = to ?? Number.POSITIVE_INFINITY;
  const open: number[] = [];
  for (let place = answers.placeAt(from); answers.at(place) < end; place++) {
    const at = answers.at(place);
    if (look.isDoubtful(at)) open.length = 0;
    else if (answers.outcome(place) === 'failed') open.push(at);
    else if (kindAt(answers, place) === 'served') {
      const lost = open.some((failedAt) => !isUnconfirmed(unconfirmed, failedAt));
      if (lost) return true;
      open.length = 0;
    }
  }
  return false;
}

function isUnconfirmed(unconfirmed: readonly UnconfirmedFailure[], at: number): boolean {
  return unconfirmed.some(
    ({ firstFailedAt, lastFailedAt }) => firstFailedAt <= at && at <= lastFailedAt,
  );
}

function outageFaults(look: Look, outage: Outage, place: number): string[] {
  const { spans, outages } = look.course;
  const { firstFailedAt, confirmedAt, lastFailedAt, restoredAt } = outage;
  const before = outages[place - 1];
  const failures = [firstFailedAt, confirmedAt, lastFailedAt];
  const isEndedBefore =
    before === undefined || (before.restoredAt ?? Number.POSITIVE_INFINITY) <= firstFailedAt;
  const isBegun = spans.some(({ state, from }) => state === 'down' && from === firstFailedAt);
  return complaints(`The outage from ${instantText(firstFailedAt)}`, [
    [!isEndedBefore, 'began before the one before it was over'],
    [
      !isOrdered([...failures, restoredAt ?? Number.POSITIVE_INFINITY]),
      'has its instants in no possible order',
    ],
    ...goodBefore(look, outage),
    [failures.some((at) => !look.isEdge('bad', at)), 'claims failures that are not there'],
    [look.isBetween('served', firstFailedAt, confirmedAt), 'was confirmed over good answers'],
    [!isBegun, 'has no stay that begins with it'],
    ...(restoredAt === null ? [] : restored(look, restoredAt)),
  ]);
}

type Complaint = readonly [isSo: boolean, what: string];

function isOrdered(instants: readonly number[]): boolean {
  return instants.every((at, nth) => nth === 0 || (instants[nth - 1] ?? at) <= at);
}

/** The last good answer, and that there was none after it. */
function goodBefore(
  look: Look,
  { lastGoodAt, firstFailedAt }: Pick<Outage, 'lastGoodAt' | 'firstFailedAt'>,
): readonly Complaint[] {
  if (lastGoodAt === null) return [];
  return [
    [lastGoodAt >= firstFailedAt, 'began before the good answer that it follows'],
    [!look.isEdge('served', lastGoodAt), 'follows no good answer'],
    [
      look.isBetween('served', lastGoodAt, firstFailedAt),
      'follows a later good answer than it says',
    ],
  ];
}

function restored(look: Look, restoredAt: number): readonly Complaint[] {
  const isFollowed = look.course.spans.some(
    ({ state, from }) => from === restoredAt && (state === 'up' || state === 'degraded'),
  );
  return [
    [!look.isEdge('served', restoredAt), 'ended with no good answer'],
    [!isFollowed, 'ended, and no stay began'],
  ];
}

function unconfirmedFaults(look: Look, failure: UnconfirmedFailure): string[] {
  const { firstFailedAt, lastFailedAt, nextGoodAt } = failure;
  const isEnded =
    look.isEdge('served', nextGoodAt) ||
    look.course.spans.some(({ state, from }) => state === 'unobserved' && from <= nextGoodAt);
  const isThere = look.isEdge('bad', firstFailedAt) && look.isEdge('bad', lastFailedAt);
  return complaints(`The unconfirmed failure from ${instantText(firstFailedAt)}`, [
    [
      !isOrdered([firstFailedAt, lastFailedAt, nextGoodAt]),
      'has its instants in no possible order',
    ],
    ...goodBefore(look, failure),
    [!isThere, 'is not among the answers'],
    [look.isBetween('served', firstFailedAt, lastFailedAt), 'goes on over good answers'],
    [!isEnded, 'ended with no good answer'],
  ]);
}
