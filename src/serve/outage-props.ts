/** One outage's page from the record: its course, answer by answer where that says something, and the notices about it. */
import type { CourseProps, NoticeProps, OutagePageProps } from '../../web/props.ts';
import { nameCharsMax, selfTroubleCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Outage } from '../base/values.ts';
import type { DeliveryReport } from '../record/record.ts';
import type { Board } from './board.ts';
import { namedService } from './links.ts';
import { layerWord, noteLines, sentence } from './trouble-props.ts';
import { sayLasting } from './zone.ts';

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
): Promise<Omit<OutagePageProps, 'frame' | 'addNote'>> {
  const now = board.clock.wallMs();
  const service = namedService(board, outage.serviceId);
  const state = stateOf(board, outage);
  const [reports, notes] = await Promise.all([
    board.record.deliveriesOf(outage.id),
    board.record.notes(outage.id),
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
    bounds: boundsOf(outage, state, now),
    course: courseOf(board, outage, state, now),
    notices: reports.map((report) => noticeOf(board, report, now)),
    notes: notes.map(({ at, text }) => ({ at: board.zone.exact(at, now), lines: noteLines(text) })),
  };
}

function sentenceOf(board: Board, outage: Outage, state: OutageState, now: number): string {
  const { firstFailedAt, lastFailedAt, restoredAt } = outage;
  const { name } = namedService(board, outage.serviceId);
  const lasted = sayLasting((restoredAt ?? now) - firstFailedAt);
  switch (state) {
    case 'up':
      return `${name} was down for ${lasted}.`;
    case 'down':
      return `${name} has been down for ${lasted}.`;
    case 'unobserved':
      return `${name} was seen failing until ${board.zone.moment(lastFailedAt, now).text} and is no longer on the roll.`;
  }
}

/** What the answers before and after leave open. */
function boundsOf(
  { lastGoodAt, firstFailedAt, lastFailedAt, restoredAt }: Outage,
  state: OutageState,
  now: number,
): string[] {
  const atLeast = sayLasting(lastFailedAt - firstFailedAt);
  const begins =
    lastGoodAt === null
      ? 'It was never seen to answer before, so when it began is not known.'
      : `It began within the ${sayLasting(firstFailedAt - lastGoodAt)} between the last good answer and the first failed one.`;
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
  const confirmation =
    confirmedAt > firstFailedAt
      ? [
          entry(firstFailedAt, 'The first failed one: the outage begins.', 'down'),
          entry(confirmedAt, `Confirmed. ${failed}`, 'down'),
        ]
      : [entry(firstFailedAt, `The first failed one: the outage begins. ${failed}`, 'down')];
  const last = state === 'down' ? 'The latest failed one.' : 'The last failed one.';
  return [
    ...(lastGoodAt === null ? [] : [entry(lastGoodAt, 'The last good answer.', 'up')]),
    ...confirmation,
    ...(lastFailedAt > confirmedAt ? [entry(lastFailedAt, last, 'down')] : []),
    ...(restoredAt === null ? [] : [entry(restoredAt, 'The first good answer again.', 'up')]),
  ].map(({ at, ...rest }) => ({ at: board.zone.exact(at, now), ...rest }));
}

const fates: Readonly<Record<DeliveryReport['state'], string>> = {
  waiting: 'on its way',
  delivered: 'delivered',
  dead: 'given up',
  folded: 'told with its cause',
  withdrawn: 'withdrawn: it was over before anybody was told',
};

function noticeOf(board: Board, report: DeliveryReport, now: number): NoticeProps {
  return {
    at: board.zone.exact(report.notice.at, now),
    summary: cleanText(report.notice.data.summary, selfTroubleCharsMax),
    channel: cleanText(report.channel, nameCharsMax),
    fate: fates[report.state],
    // The detail names the status already.
    attempts: report.attempts.map(
      ({ at, status, detail }) =>
        `${board.zone.exact(at, now).text}: ${cleanText(detail) || (status ?? 'no answer')}`,
    ),
  };
}
