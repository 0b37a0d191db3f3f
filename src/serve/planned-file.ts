/** `/planned.ics`: planned work as a calendar (RFC 5545). A window keeps its UID however it moves. */
import type { FastifyInstance, FastifyRequest } from 'fastify';
import ical from 'ical-generator';
import * as z from 'zod';
import { nameCharsMax, plannedWhyCharsMax } from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { PlannedWindow } from '../base/values.ts';
import type { Board } from './board.ts';
import { uuidOf } from './feed.ts';
import { plannedPage } from './links.ts';
import { plannedNow } from './planned-now.ts';

export function servePlannedFile(app: FastifyInstance, board: Board): void {
  app.get(
    '/planned.ics',
    {
      schema: {
        summary: 'Planned windows as a calendar: 30 days back and ahead',
        response: {
          200: { description: 'RFC 5545.', content: { 'text/calendar': { schema: z.string() } } },
        },
      },
    },
    async (request, reply) => {
      const { running, toCome, past } = await plannedNow(board);
      const windows = [...past].reverse().concat(running, toCome);
      const text = calendarOf(board, windows, originOf(request));
      return reply.type('text/calendar; charset=utf-8').serializer(String).send(text);
    },
  );
}

function originOf({ protocol, host }: FastifyRequest): string {
  return `${protocol}://${host}`;
}

function calendarOf(board: Board, windows: readonly PlannedWindow[], origin: string): string {
  const { record, clock } = board;
  const calendar = ical({
    prodId: { company: 'Rollcall', product: 'Rollcall', language: 'EN' },
    name: `Planned work: ${cleanText(board.board.title, nameCharsMax)}`,
  });
  for (const window of windows) {
    calendar.createEvent({
      id: `urn:uuid:${uuidOf(record.instanceId, window.id)}`,
      // In UTC, so that no description of a zone is needed.
      start: new Date(window.from),
      end: new Date(window.to),
      stamp: new Date(clock.wallMs()),
      summary: cleanText(window.name, nameCharsMax),
      description: descriptionOf(board, window),
      url: origin + plannedPage(board),
    });
  }
  return calendar.toString();
}

function descriptionOf(board: Board, { why, serviceIds }: PlannedWindow): string {
  const names = (serviceIds ?? []).map((id) => cleanText(board.nameOf(id), nameCharsMax));
  const on = serviceIds === null ? 'Every service.' : `${names.join(', ')}.`;
  return why === null ? on : `${on} ${cleanText(why, plannedWhyCharsMax)}`;
}
