/** What telling needs to know of a channel. The configuration's own type fits; see the type test. */
import type { BodyTemplate } from '../base/template-names.ts';
import type { ChangeWord } from '../base/values.ts';

/**
 * Which notices a channel carries: what fits all the lists. An absent, null or empty one does not restrict; but what is
 * told only where it is asked for is not in an absent one of changes.
 */
interface ChannelFilter {
  readonly groups?: readonly string[] | null | undefined;
  /** Ids. */
  readonly services?: readonly string[] | null | undefined;
  /** As `ChangeWord`. */
  readonly changes?: readonly string[] | null | undefined;
}

export interface ChannelChoice {
  readonly name: string;
  readonly only: ChannelFilter | null;
  /** Minutes of the day; null or absent: there are no quiet hours. */
  readonly quiet?: { readonly from: number; readonly to: number } | null;
  /** Until the first reminder; null or absent: there are none. */
  readonly remindMs?: number | null;
  /** Name of another channel; null or absent: none. */
  readonly fallback?: string | null;
}

export interface WebhookChannel {
  readonly name: string;
  /** The receiver's URL. May hold a secret anywhere behind the host. */
  readonly webhook: string;
  /** `whsec_…`; null: requests are not signed. */
  readonly secret: string | null;
  readonly headers: Readonly<Record<string, string>> | null;
  readonly method: 'POST' | 'PUT' | 'PATCH';
  /** In place of the event; null: the event. */
  readonly body: BodyTemplate | null;
}

export interface MailChannel {
  readonly name: string;
  readonly mail: {
    readonly to: readonly string[];
    readonly from: string;
    /** `smtp://` or `smtps://`, with user and password where the server wants them. A secret as a whole. */
    readonly smtp: string;
  };
}

export type AnyChannel = (WebhookChannel | MailChannel) & ChannelChoice;

/** Whether the channel carries this change of this service. */
export function takes(
  channel: ChannelChoice,
  service: { readonly id: string; readonly group: string | null },
  change: string,
): boolean {
  const { changes } = channel.only ?? {};
  if (onlyWhereAsked.has(change) && !changes?.includes(change)) return false;
  return covers(channel, service) && fits(changes, change);
}

/** Whether the channel is about this service at all. */
export function covers(
  channel: ChannelChoice,
  service: { readonly id: string; readonly group: string | null },
): boolean {
  const { groups, services } = channel.only ?? {};
  return fits(groups, service.group) && fits(services, service.id);
}

/** Told only where `changes` names it: most people need not hear of it. */
const onlyWhereAsked: ReadonlySet<string> = new Set<ChangeWord>(['planned', 'facts']);

function fits(list: readonly string[] | null | undefined, value: string | null): boolean {
  if (list === null || list === undefined || list.length === 0) return true;
  return value !== null && list.includes(value);
}
