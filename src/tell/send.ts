/** Any channel's sender: each kind of channel by its own. */
import type { AnyChannel } from './channel.ts';
import { type MailParts, mailSender } from './mail.ts';
import { type Send, webhookSender } from './webhook.ts';

export function channelSender(parts: MailParts): Send<AnyChannel> {
  const mail = mailSender(parts);
  const webhook = webhookSender(parts);
  return (channel, notice, signal) =>
    'mail' in channel ? mail(channel, notice, signal) : webhook(channel, notice, signal);
}
