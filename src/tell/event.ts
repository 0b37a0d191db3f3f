/** A notice as a CloudEvents 1.0.2 event in the JSON format (structured mode). Attributes as promised in interface §5. */
import { eventType } from '../base/event-type.ts';
import { instantText } from '../base/instants.ts';
import type { Notice, NoticeData } from '../record/record.ts';

export interface Event {
  readonly specversion: '1.0';
  /** The notice's id: with `source` it names the event for ever, over all attempts. */
  readonly id: string;
  readonly source: string;
  readonly type: string;
  /** Id of the service; absent where the event is about none (an empty subject is not allowed). */
  readonly subject?: string;
  readonly time: string;
  readonly datacontenttype: 'application/json';
  readonly data: NoticeData;
}

/** @param instanceId UUID of the record: who speaks. */
export function eventOf(notice: Notice, instanceId: string): Event {
  return {
    specversion: '1.0',
    id: notice.id,
    source: `urn:uuid:${instanceId}`,
    type: eventType(notice.type, notice.data),
    ...(notice.serviceId ? { subject: notice.serviceId } : {}),
    time: instantText(notice.at),
    datacontenttype: 'application/json',
    data: notice.data,
  };
}
