/** One outage's page from the record: its course, answer by answer where that says something, and the notices about it. */
import type { CourseProps, NoticeProps, OutagePageProps } from '../../web/props-outage.ts';
import {
  earlierOnPageCountMax,
  nameCharsMax,
  outageObservationsCountMax,
  outagesCountMax,
  selfTroubleCharsMax,
} from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Observation, Outage } from '../base/values.ts';
import type { DeliveryReport, Range } from '../record/record.ts';
import type { Board } from './board.ts';
import { chartOf } from './charts.ts';
import { namedService } from './links.ts';
import { outageRow } from './service-props.ts';
import { latenciesOf, sheetOf, stripOf } from './strip.ts';
import { layerWord, noteLines, sentence } from './trouble-props.ts';
import { sayCount, sayLasting } from './zone.ts';

type OutageState = OutagePageProps['state'];

/** The record has an open outage as it was when it was confirmed; how it went on from there is asked for here. */
export async function asHeld(board: Board, outage: Outage): Promise<Outage> {
  if (outage.restoredAt !== null) return outage;
  if (!board.cardOf(outage.serviceId)) return asLeft(board, outage);
  const open = board.standingOf(outage.serviceId).outage;
  return open?.id === outage.id ? open : outage;
}

/** A service that is no longer on the roll stands no way at all: what was last seen of it is in the record. */
async function asLeft(board: Board, outage: Outage): Promise<Outage> {
  const { memory, last } = await board.record.remembered(outage.serviceId);
  if (memory?.outage?.id !== outage.id || memory.state !== 'down') return outage;
  const served = last?.outcome === 'answered' || last?.outcome === 'limited';
  const failedAt = last && !served ? last.at : outage.lastFailedAt;
  return { ...outage, lastFailedAt: Math.max(failedAt, memory.outage.lastFailedAt) };
}

/** Over, lasting, or left open because nobody asks any more. */
function stateOf(board: Board, { restoredAt, serviceId }: Outage): OutageState {
  if (restoredAt !== null) return 'up';
  return board.cardOf(serviceId) ? 'down' : 'unobserved';
}

export async function outageProps(
  board: Board,
  outage: Outage,
): Promise<Omit<OutagePageProps, 'frame' | 'addNote' | 'know'>> {
  const now = board.clock.wallMs();
  const service = namedService(board, outage.serviceId);
  const state = stateOf(board, outage);
  const [reports, observations, earlier, drawn, notes, knownAt] = await Promise.all([
    board.record.deliveriesOf(outage.id),
    board.record.observations(outage.serviceId, lengthOf(outage, now), outageObservationsCountMax),
    earlierLike(board, outage),
    drawnOf(board, outage, state, now),
    board.record.notes(outage.id),
    board.record.knownAt(outage.id),
  ]);
  const { trouble, causeId } = outage;
  return {
    now: board.zone.whole(now),
    service,
    sentence: sentenceOf(board, outage, state, now),
    state,
    layer: layerWord(trouble.layer),
    what: sentence(trouble.detail),
    look: trouble.hint,
    cause: causeId === null ? null : namedService(board, causeId),
    note: noteLines(board.cardOf(outage.serviceId)?.note ?? null),
    seen: seenText(observations),
    bounds: boundsOf(outage, state, now),
    ...drawn,
    course: courseOf(board, outage, state, now),
    notices: reports.map((report) => noticeOf(board, report, now)),
    known: knownAt === null ? null : board.zone.exact(knownAt, now),
    notes: notes.map(({ at, text }) => ({ at: board.zone.exact(at, now), lines: noteLines(text) })),
    earlier: earlier.slice(0, earlierOnPageCountMax).map((other) => outageRow(board, other, now)),
    earlierCount:
      earlier.length > earlierOnPageCountMax
        ? `${sayCount(earlier.length, 'outage')} like it in all.`
        : null,
  };
}

/** From the first failed answer to the first good one after it. */
function lengthOf({ firstFailedAt, restoredAt }: Outage, now: number): Range {
  return { from: firstFailedAt, to: (restoredAt ?? now) + 1 };
}

/** Of the same service, for the same reason, before this one; newest first. */
async function earlierLike(board: Board, outage: Outage): Promise<readonly Outage[]> {
  const before = await board.record.outages(
    outage.serviceId,
    { from: 0, to: outage.firstFailedAt },
    outagesCountMax,
  );
  return before.filter(
    ({ id, trouble }) => id !== outage.id && trouble.reason === outage.trouble.reason,
  );
}

/** So much is shown before and after at least, so that it is seen what was usual. */
const aroundMsMin = 10 * 60_000;

async function drawnOf(
  board: Board,
  outage: Outage,
  state: OutageState,
  now: number,
): Promise<Pick<OutagePageProps, 'sheet' | 'strip'>> {
  // Of a service that left the roll nothing is known beyond its last failed answer.
  const until = state === 'unobserved' ? outage.lastFailedAt : now;
  const { from, to } = lengthOf(outage, until);
  const aroundMs = Math.max(aroundMsMin, (to - from) / 2);
  const chart = await chartOf(board.record, outage.serviceId, {
    from: from - aroundMs,
    to: Math.min(to + aroundMs, until + 1),
    stepMsMin: board.cardOf(outage.serviceId)?.everyMs ?? 0,
    now: until,
  });
  const strip = stripOf(chart, 'The outage and the time around it');
  return { sheet: sheetOf(chart, board.zone, latenciesOf([strip], true)), strip };
}

/** `While it lasted: 12 times refused, 2 times timed out.` Null where each failed for the same reason. */
function seenText(observations: readonly Observation[]): string | null {
  const counts = new Map<string, number>();
  for (const { trouble } of observations) {
    if (trouble) counts.set(trouble.reason, (counts.get(trouble.reason) ?? 0) + 1);
  }
  if (counts.size < 2) return null;
  // How often somebody looked says nothing of a job: in which order it stood so does.
  const ofJob = observations.every(({ trouble }) => trouble === null || trouble.layer === 'job');
  if (ofJob) return `While it lasted: ${[...counts.keys()].map(plainReason).join(', then ')}.`;
  const said = [...counts]
    .sort(([, one], [, other]) => other - one)
    .map(([reason, count]) => `${count === 1 ? 'once' : `${count} times`} ${plainReason(reason)}`);
  return `While it lasted: ${said.join(', ')}.`;
}

function plainReason(reason: string): string {
  return reason.replaceAll('-', ' ');
}

function sentenceOf(board: Board, outage: Outage, state: OutageState, now: number): string {
  const { firstFailedAt, lastFailedAt, restoredAt } = outage;
  const down = isOfJob(outage) ? 'failing' : 'down';
  const { name } = namedService(board, outage.serviceId);
  const lasted = sayLasting((restoredAt ?? now) - firstFailedAt);
  switch (state) {
    case 'up':
      return `${name} was ${down} for ${lasted}.`;
    case 'down':
      return `${name} has been ${down} for ${lasted}.`;
    case 'unobserved':
      return `${name} was seen failing until ${board.zone.moment(lastFailedAt, now).text} and is no longer on the roll.`;
  }
}

/** It is looked at, not asked: there are no answers. */
export function isOfJob({ trouble }: Pick<Outage, 'trouble'>): boolean {
  return trouble.layer === 'job';
}

/** What the answers before and after leave open. */
function boundsOf(outage: Outage, state: OutageState, now: number): string[] {
  const { lastGoodAt, firstFailedAt, lastFailedAt, restoredAt } = outage;
  // How a job stands is known from one look to the next.
  if (isOfJob(outage) && state !== 'unobserved') return [];
  const atLeast = sayLasting(lastFailedAt - firstFailedAt);
  const begins =
    lastGoodAt === null
      ? 'It was never seen to answer before, so when it began is not known.'
      : `It began within ${sayStretch(firstFailedAt - lastGoodAt)} between the last good answer and the first failed one.`;
  const least = `It was seen failing for ${atLeast}.`;
  if (state === 'unobserved') {
    return [begins, least, 'How it went on after that is not known: it is no longer asked.'];
  }
  if (lastGoodAt === null) return [begins, least];
  const mostMs = (restoredAt ?? now) - lastGoodAt;
  const most =
    restoredAt === null
      ? `It has lasted ${sayLasting(mostMs)} at most so far.`
      : `It lasted ${sayLasting(mostMs)} at most.`;
  return [begins, least, most];
}

function courseOf(board: Board, outage: Outage, state: OutageState, now: number): CourseProps[] {
  const { lastGoodAt, firstFailedAt, confirmedAt, lastFailedAt, restoredAt, trouble } = outage;
  const entry = (at: number, what: string, mark: CourseProps['state']) => ({
    at,
    what,
    state: mark,
  });
  const failed = sentence(trouble.detail);
  const words = isOfJob(outage) ? courseOfJob : courseOfService;
  const confirmation =
    confirmedAt > firstFailedAt
      ? [
          entry(firstFailedAt, words.first, 'down'),
          entry(confirmedAt, `Confirmed. ${failed}`, 'down'),
        ]
      : [entry(firstFailedAt, `${words.first} ${failed}`, 'down')];
  const last = state === 'down' ? words.latest : words.last;
  return [
    ...(lastGoodAt === null ? [] : [entry(lastGoodAt, words.before, 'up')]),
    ...confirmation,
    ...(lastFailedAt > confirmedAt ? [entry(lastFailedAt, last, 'down')] : []),
    ...(restoredAt === null ? [] : [entry(restoredAt, words.again, 'up')]),
  ].map(({ at, ...rest }, place, all) => ({
    at: board.zone.exact(at, now),
    later: place === 0 ? null : sayLasting(at - (all[place - 1]?.at ?? at)),
    ...rest,
  }));
}

const courseOfService = {
  before: 'The last good answer.',
  first: 'The first failed one: the outage begins.',
  latest: 'The latest failed one.',
  last: 'The last failed one.',
  again: 'The first good answer again.',
} as const;

const courseOfJob = {
  before: 'In order, when somebody looked last.',
  first: 'The outage begins.',
  latest: 'It lasts.',
  last: 'It lasted.',
  again: 'In order again.',
} as const;

const fates: Readonly<Record<DeliveryReport['state'], string>> = {
  waiting: 'on its way',
  delivered: 'delivered',
  dead: 'given up',
  folded: 'told in one message with others',
  withdrawn: 'withdrawn: it was over before anybody was told',
};

function noticeOf(board: Board, report: DeliveryReport, now: number): NoticeProps {
  return {
    at: board.zone.exact(report.notice.at, now),
    summary: cleanText(report.notice.data.summary, selfTroubleCharsMax),
    channel: cleanText(report.channel, nameCharsMax),
    fate:
      report.fallbackFor === null
        ? fates[report.state]
        : `${fates[report.state]}, in place of “${cleanText(report.fallbackFor, nameCharsMax)}”`,
    // The detail names the status already.
    attempts: report.attempts.map(
      ({ at, status, detail }) =>
        `${board.zone.exact(at, now).text}: ${cleanText(detail) || (status ?? 'no answer')}`,
    ),
  };
}

function sayStretch(ms: number): string {
  return ms < 1_000 ? 'a second' : `the ${sayLasting(ms)}`;
}
