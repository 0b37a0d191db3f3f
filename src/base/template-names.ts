/** What a body of the owner's own is made of, and what it may name: checked when it is read, filled in when it is sent. */

/** A JSON value whose texts are templates; or one text. */
export type BodyTemplate =
  | string
  | number
  | boolean
  | null
  | readonly BodyTemplate[]
  | { readonly [key: string]: BodyTemplate };

/** What a template may name. Not every event has each of them: then the place is empty, and a section on it is left out. */
export const templateNames = [
  'id',
  'type',
  'time',
  'summary',
  'text',
  'link',
  'fallbackFor',
  'state',
  'previous',
  'since',
  'service.id',
  'service.name',
  'service.group',
  'service.open',
  'service.note',
  'observation.at',
  'observation.layer',
  'observation.reason',
  'observation.detail',
  'observation.hint',
  'outage.id',
  'outage.lastGoodAt',
  'outage.firstFailedAt',
  'outage.confirmedAt',
  'outage.restoredAt',
  'job.run.id',
  'job.run.beganAt',
  'job.run.endedAt',
  'job.run.exit',
  'job.run.value',
  'job.run.unit',
  'job.run.output',
  'cause',
  'affected',
] as const;
