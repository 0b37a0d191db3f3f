/**
 * Any channel's sender: each kind of channel by its own. Where the board has an address that others know, what is about an
 * outage gets a link to its page: as it is sent, so that it is that of today.
 */
import type { Notice } from '../record/record.ts';
import type { AnyChannel } from './channel.ts';
import { type MailParts, mailSender } from './mail.ts';
import { type Send, webhookSender } from './webhook.ts';

export interface SenderParts extends MailParts {
  /** The board's address, without a slash at its end; null: it has none that others know. */
  readonly address: string | null;
}

export function channelSender(parts: SenderParts): Send<AnyChannel> {
  const mail = mailSender(parts);
  const webhook = webhookSender(parts);
  return (channel, notice, signal) => {
    const sent = linked(notice, parts.address);
    return 'mail' in channel ? mail(channel, sent, signal) : webhook(channel, sent, signal);
  };
}

function linked(notice: Notice, address: string | null): Notice {
  const { outageId } = notice;
  if (address === null || outageId === null) return notice;
  const link = `${address}/outages/${encodeURIComponent(outageId)}`;
  return { ...notice, data: { ...notice.data, link } };
}
