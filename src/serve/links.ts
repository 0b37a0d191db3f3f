/** Addresses on the board, and what may be linked from it. */
import type { NamedProps } from '../../web/props.ts';
import { nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Board } from './board.ts';
import type { ChartLength } from './charts.ts';

/** Schemes that open something and run nothing. */
const openableSchemes = new Set([
  'http:',
  'https:',
  'ssh:',
  'sftp:',
  'ftp:',
  'smb:',
  'nfs:',
  'vnc:',
  'rdp:',
]);

/** Where the board lives: `/`, or the sub-path that a proxy gives it, with a slash at either end. */
type Based = Pick<Board, 'base'>;

export function rollPage({ base }: Based): string {
  return base;
}

/** A job has a page of another kind. */
export function servicePage(
  { base, jobs }: Based & Pick<Board, 'jobs'>,
  serviceId: string,
): string {
  const section = jobs?.planOf(serviceId) ? 'jobs' : 'services';
  return `${base}${section}/${encodeURIComponent(serviceId)}`;
}

/** The runs of a job, for programs. */
export function runsFile({ base }: Based, jobId: string): string {
  return `${base}api/v1/jobs/${encodeURIComponent(jobId)}/runs`;
}

/** With only the services of this group. */
export function groupPage(board: Based, group: string): string {
  return `${rollPage(board)}?group=${encodeURIComponent(group)}`;
}

/** Its course over a length of time; the day is the page itself. */
export function chartPage(board: Based, serviceId: string, length: ChartLength): string {
  return servicePage(board, serviceId) + (length === 'day' ? '' : `?range=${length}`);
}

/** Of the current month; or of that one, as `2026-11`. */
export function reportPage({ base }: Based, month: string | null): string {
  return `${base}report${month === null ? '' : `/${month}`}`;
}

export function reportFile(board: Based, month: string, format: 'csv' | 'json'): string {
  return `${reportPage(board, month)}.${format}`;
}

export function aboutPage({ base }: Based): string {
  return `${base}about`;
}

/** The sign-in; `to`: the path, without the base, where one wanted to go. */
export function signInPage({ base }: Based, to: string | null): string {
  const query = to === null || to === '/' ? '' : `?${new URLSearchParams({ to })}`;
  return `${base}sign-in${query}`;
}

export function signOutForm({ base }: Based): string {
  return `${base}sign-out`;
}

export function channelsPage({ base }: Based): string {
  return `${base}channels`;
}

/** Where the owner's forms are sent. */
export function noteForm(board: Based, outageId: string): string {
  return `${outagePage(board, outageId)}/notes`;
}

export function knownForm(board: Based, outageId: string): string {
  return `${outagePage(board, outageId)}/known`;
}

export function askForm(board: Based, serviceId: string): string {
  return `${servicePage(board, serviceId)}/ask`;
}

export function testForm(board: Based): string {
  return `${channelsPage(board)}/test`;
}

/** Planned work; the owner's form is sent there as well. */
export function plannedPage({ base }: Based): string {
  return `${base}planned`;
}

export function endPlannedForm(board: Based, id: string): string {
  return `${plannedPage(board)}/${encodeURIComponent(id)}/end`;
}

export function plannedFile(board: Based): string {
  return `${plannedPage(board)}.ics`;
}

/** The stream of what happens. */
export function livePath({ base }: Based): string {
  return `${base}live`;
}

export function feedPath({ base }: Based): string {
  return `${base}feed.atom`;
}

export function openApiPage({ base }: Based): string {
  return `${base}openapi.json`;
}

/** A service that may have left the roll; then it has no page. */
export function namedService(board: Board, serviceId: string): NamedProps {
  return {
    name: cleanText(board.nameOf(serviceId), nameCharsMax),
    href: board.cardOf(serviceId) ? servicePage(board, serviceId) : null,
  };
}

export function outagePage({ base }: Based, outageId: string): string {
  return `${base}outages/${encodeURIComponent(outageId)}`;
}

/** The owner's link to the service, if it is one that a page may carry. */
export function openLink(open: string | null): string | null {
  return open !== null && URL.canParse(open) && openableSchemes.has(new URL(open).protocol)
    ? open
    : null;
}
