/**
 * What happens, as Server-Sent Events (WHATWG HTML, "Server-sent events"): `change` with an id, from which a reader that
 * comes back goes on, and `observation`. `missed` says to one who was away too long that there were more.
 *
 * The protocol is these few lines of our own: @fastify/sse waits for a reader that does not read, and here, where a
 * page can be fetched anew at any time, such a reader is dropped.
 */
import { Readable } from 'node:stream';
import type { Alarm, Clock } from '../base/clock.ts';
import type { Happening, Happenings } from '../base/happenings.ts';
import { instantText } from '../base/instants.ts';
import {
  liveBufferBytesMax,
  liveChangesCountMax,
  liveHeartbeatMs,
  liveStreamsCountMax,
} from '../base/limits.ts';
import { observationBody } from './bodies.ts';

export interface LiveFeed {
  /** Null: there are too many already. `isStill`: whether this reader may still read, asked at each heartbeat. */
  open(lastEventId: string | null, isStill: () => boolean): Readable | null;
  /** Ends all streams; none is opened after that. */
  close(): void;
}

interface LiveGiven {
  readonly clock: Clock;
  readonly listen: Happenings['listen'];
}

/** How long a browser waits before it comes back by itself. */
const retryMs = 3_000;

interface Change {
  readonly id: string;
  readonly text: string;
}

interface Reader {
  readonly stream: Readable;
  readonly isStill: () => boolean;
}

export function liveFeedOf({ clock, listen }: LiveGiven): LiveFeed {
  /** Ids of another run, or of before a reload, are not taken for ours. */
  const run = clock.wallMs().toString(36);
  const readers = new Set<Reader>();
  let changes: readonly Change[] = [];
  let changesCount = 0;
  let alarm: Alarm | null = null;
  let isClosed = false;

  const newestId = () => `${run}-${changesCount}`;
  const send = (text: string) => {
    for (const reader of readers) give(reader, text);
  };
  const give = (reader: Reader, text: string) => {
    if (reader.stream.readableLength + Buffer.byteLength(text) > liveBufferBytesMax) {
      reader.stream.destroy();
    } else reader.stream.push(text);
  };
  const hear = (happening: Happening) => {
    const change = changeText(happening);
    if (change !== null) {
      changesCount++;
      const id = newestId();
      const text = `id: ${id}\n${change}`;
      changes = [...changes, { id, text }].slice(-liveChangesCountMax);
      send(text);
    }
    if (readers.size > 0) send(observationText(happening));
  };
  const beat = () => {
    alarm = readers.size === 0 ? null : clock.after(liveHeartbeatMs, beat);
    for (const reader of readers) {
      if (reader.isStill()) give(reader, ': still here\n\n');
      else reader.stream.push(null);
    }
  };
  /** What came after that id; null where nobody can tell. */
  const since = (lastEventId: string): readonly Change[] | null => {
    if (lastEventId === newestId()) return [];
    const place = changes.findIndex(({ id }) => id === lastEventId);
    if (place >= 0) return changes.slice(place + 1);
    const first = changes[0];
    return first && lastEventId === `${run}-0` && first.id === `${run}-1` ? changes : null;
  };
  const stop = listen(hear);

  return {
    open: (lastEventId, isStill) => {
      if (isClosed || readers.size >= liveStreamsCountMax) return null;
      const stream = new Readable({ read: () => {} });
      const reader = { stream, isStill };
      readers.add(reader);
      stream.once('close', () => readers.delete(reader));
      stream.push(`retry: ${retryMs}\n\n`);
      const missed = lastEventId === null ? [] : since(lastEventId);
      if (missed === null) stream.push('event: missed\ndata: {}\n\n');
      for (const { text } of missed ?? []) give(reader, text);
      // An id without data is no event, and yet where the reader goes on from.
      stream.push(`id: ${newestId()}\n\n`);
      alarm ??= clock.after(liveHeartbeatMs, beat);
      return stream;
    },
    close: () => {
      isClosed = true;
      stop();
      alarm?.cancel();
      for (const { stream } of readers) stream.push(null);
    },
  };
}

function changeText({ serviceId, change }: Happening): string | null {
  if (change === null) return null;
  const { from, to, since, decidedAt, causeId, outageId } = change;
  return eventText('change', {
    service: serviceId,
    ...{ from, to },
    since: instantText(since),
    at: instantText(decidedAt),
    cause: causeId,
    outage: outageId,
  });
}

function observationText({ serviceId, observation }: Happening): string {
  return eventText('observation', { service: serviceId, ...observationBody(observation) });
}

/** JSON has no line breaks of its own, so that it is one line of data. */
function eventText(event: string, data: object): string {
  return `event: ${event}\ndata: ${JSON.stringify(data)}\n\n`;
}
