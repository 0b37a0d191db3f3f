/** One outage's page from the record: its course, answer by answer where that says something, and the notices about it. */
import type { CourseProps, NoticeProps, OutagePageProps } from '../../web/props.ts';
import { nameCharsMax, selfTroubleCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Outage } from '../base/values.ts';
import type { DeliveryReport } from '../record/record.ts';
import type { Board } from './board.ts';
import { servicePage } from './links.ts';
import { layerWord, noteLines, sentence } from './trouble-props.ts';
import { sayLasting } from './zone.ts';

/** The judge knows how the open outage goes on; the record has it as it was when it was confirmed. */
export function asHeld(board: Board, outage: Outage): Outage {
  // A service that is no longer on the roll stands no way at all.
  if (!board.cardOf(outage.serviceId)) return outage;
  const open = board.standingOf(outage.serviceId).outage;
  return open?.id === outage.id ? open : outage;
}

export async function outageProps(
  board: Board,
  outage: Outage,
): Promise<Omit<OutagePageProps, 'frame'>> {
  const now = board.clock.wallMs();
  const name = cleanText(board.nameOf(outage.serviceId), nameCharsMax);
  const reports = await board.record.deliveriesOf(outage.id);
  const { restoredAt, firstFailedAt, trouble, causeId } = outage;
  const lasted = sayLasting((restoredAt ?? now) - firstFailedAt);
  return {
    now: board.zone.whole(now),
    service: { name, href: servicePage(outage.serviceId) },
    sentence:
      restoredAt === null
        ? `${name} has been down for ${lasted}.`
        : `${name} was down for ${lasted}.`,
    over: restoredAt !== null,
    layer: layerWord(trouble.layer),
    what: sentence(trouble.detail),
    look: trouble.hint,
    cause:
      causeId === null
        ? null
        : { name: cleanText(board.nameOf(causeId), nameCharsMax), href: servicePage(causeId) },
    note: noteLines(board.cardOf(outage.serviceId)?.note ?? null),
    bounds: boundsOf(outage, now),
    course: courseOf(board, outage, now),
    notices: reports.map((report) => noticeOf(board, report, now)),
  };
}

/** What the answers before and after leave open. */
function boundsOf(
  { lastGoodAt, firstFailedAt, lastFailedAt, restoredAt }: Outage,
  now: number,
): string[] {
  const atLeast = sayLasting(lastFailedAt - firstFailedAt);
  const begins =
    lastGoodAt === null
      ? 'It was never seen to answer before, so when it began is not known.'
      : `It began within the ${sayLasting(firstFailedAt - lastGoodAt)} between the last good answer and the first failed one.`;
  const least = `It was seen failing for ${atLeast}.`;
  if (lastGoodAt === null) return [begins, least];
  const mostMs = (restoredAt ?? now) - lastGoodAt;
  const most =
    restoredAt === null
      ? `It has lasted ${sayLasting(mostMs)} at most so far.`
      : `It lasted ${sayLasting(mostMs)} at most.`;
  return [begins, least, most];
}

function courseOf(board: Board, outage: Outage, now: number): CourseProps[] {
  const { lastGoodAt, firstFailedAt, confirmedAt, lastFailedAt, restoredAt, trouble } = outage;
  const entry = (at: number, what: string, state: CourseProps['state']) => ({ at, what, state });
  const failed = sentence(trouble.detail);
  const confirmation =
    confirmedAt > firstFailedAt
      ? [
          entry(firstFailedAt, 'The first failed one: the outage begins.', 'down'),
          entry(confirmedAt, `Confirmed. ${failed}`, 'down'),
        ]
      : [entry(firstFailedAt, `The first failed one: the outage begins. ${failed}`, 'down')];
  const last = restoredAt === null ? 'The latest failed one.' : 'The last failed one.';
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
    attempts: report.attempts.map(
      ({ at, status, detail }) =>
        `${board.zone.exact(at, now).text}: ${[status, cleanText(detail)].filter((part) => part !== null && part !== '').join(' ')}`,
    ),
  };
}
