/** Addresses on the board, and what may be linked from it. */
import type { NamedProps } from '../../web/props.ts';
import { nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Board } from './board.ts';

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

export function servicePage(serviceId: string): string {
  return `/services/${encodeURIComponent(serviceId)}`;
}

/** A service that may have left the roll; then it has no page. */
export function namedService(board: Board, serviceId: string): NamedProps {
  return {
    name: cleanText(board.nameOf(serviceId), nameCharsMax),
    href: board.cardOf(serviceId) ? servicePage(serviceId) : null,
  };
}

export function outagePage(outageId: string): string {
  return `/outages/${encodeURIComponent(outageId)}`;
}

/** The owner's link to the service, if it is one that a page may carry. */
export function openLink(open: string | null): string | null {
  return open !== null && URL.canParse(open) && openableSchemes.has(new URL(open).protocol)
    ? open
    : null;
}
