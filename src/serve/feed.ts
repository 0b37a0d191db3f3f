/** `/feed.atom`: outages as an Atom feed (RFC 4287), newest first. An entry that changes keeps its id. */
import { createHash } from 'node:crypto';
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { Feed } from 'feed';
import * as z from 'zod';
import { feedEntriesCountMax, nameCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Outage } from '../base/values.ts';
import type { Board } from './board.ts';
import { feedPath, namedService, outagePage, rollPage } from './links.ts';
import { asHeld, isOfJob } from './outage-props.ts';
import { layerWord, sentence } from './trouble-props.ts';
import { sayLasting } from './zone.ts';

export function serveFeed(app: FastifyInstance, board: Board): void {
  app.get(
    '/feed.atom',
    {
      schema: {
        summary: 'Outages as an Atom feed',
        response: {
          200: {
            description: 'RFC 4287.',
            content: { 'application/atom+xml': { schema: z.string() } },
          },
        },
      },
    },
    async (request, reply) => {
      const everything = { from: 0, to: board.clock.wallMs() + 1 };
      const found = await board.record.outages(null, everything, feedEntriesCountMax);
      const outages = await Promise.all(found.map((outage) => asHeld(board, outage)));
      const text = feedOf(board, outages, originOf(request)).atom1();
      return reply.type('application/atom+xml; charset=utf-8').serializer(String).send(text);
    },
  );
}

/** As whoever asks reaches the board: a feed's addresses are whole ones. */
function originOf({ protocol, host }: FastifyRequest): string {
  return `${protocol}://${host}`;
}

function feedOf(board: Board, outages: readonly Outage[], origin: string): Feed {
  const { record, self } = board;
  const title = cleanText(board.board.title, nameCharsMax);
  const updated = Math.max(
    ...outages.map(changedAt),
    ...(outages.length === 0 ? [self().startedAt] : []),
  );
  const feed = new Feed({
    id: `urn:uuid:${record.instanceId}`,
    title: `Outages of ${title}`,
    link: origin + rollPage(board),
    feedLinks: { atom: origin + feedPath(board) },
    updated: new Date(updated),
    author: { name: title },
    generator: 'Rollcall',
    copyright: '',
  });
  for (const outage of outages) {
    feed.addItem({
      id: `urn:uuid:${uuidOf(record.instanceId, outage.id)}`,
      // Titles and summaries are HTML to this library: what is text is escaped here.
      title: asHtml(titleOf(board, outage)),
      description: asHtml(whatOf(board, outage)),
      link: origin + outagePage(board, outage.id),
      date: new Date(changedAt(outage)),
      published: new Date(outage.confirmedAt),
    });
  }
  return feed;
}

/** When it was last something else: it began, or it was over. That it lasts is no change. */
function changedAt({ confirmedAt, restoredAt }: Outage): number {
  return restoredAt ?? confirmedAt;
}

function titleOf(board: Board, outage: Outage): string {
  const { serviceId, firstFailedAt, restoredAt } = outage;
  const { name } = namedService(board, serviceId);
  const down = isOfJob(outage) ? 'failing' : 'down';
  return restoredAt === null
    ? `${name} is ${down}`
    : `${name} was ${down} for ${sayLasting(restoredAt - firstFailedAt)}`;
}

function whatOf(board: Board, { trouble, causeId, firstFailedAt }: Outage): string {
  const behind = causeId === null ? '' : ` Behind ${namedService(board, causeId).name}.`;
  const since = `Since ${board.zone.whole(firstFailedAt).text}.`;
  return `${layerWord(trouble.layer)}: ${sentence(trouble.detail)}${behind} ${since}`;
}

/** A name-based UUID (RFC 9562 §5.5, version 5) of the outage, in the name space of this record. */
export function uuidOf(nameSpace: string, name: string): string {
  const space = Buffer.from(nameSpace.replaceAll('-', ''), 'hex');
  const hash = createHash('sha1').update(space).update(name).digest().subarray(0, 16);
  hash[6] = ((hash[6] ?? 0) & 0x0f) | 0x50;
  hash[8] = ((hash[8] ?? 0) & 0x3f) | 0x80;
  const hex = hash.toString('hex');
  const parts = [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20)];
  return [...parts, hex.slice(20)].join('-');
}

function asHtml(text: string): string {
  return text.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;');
}
