/**
 * What the owner can do here: forms that work without script, each sent from a page of this board by who is signed in
 * (forms.ts), each answered by leading back to the page that shows what came of it. What else an owner does (a planned
 * window, "I know") gets its route here and its form on the page that it is about.
 */
import type { FastifyInstance } from 'fastify';
import { pause } from '../base/clock.ts';
import {
  actsAllCountMax,
  actsEachCountMax,
  actsWindowMs,
  askWaitMsMax,
  noteCharsMax,
  notesOfOutageCountMax,
} from '../base/limits.ts';
import { cleanText } from '../base/text.ts';
import type { Board } from './board.ts';
import { ownerFieldsOf } from './forms.ts';
import { limiterOf } from './limiter.ts';
import { channelsPage, outagePage, servicePage } from './links.ts';
import { servePlanning } from './planned-acts.ts';
import { RequestProblem } from './problems.ts';
import { sayLasting } from './zone.ts';

/** What the house lets the board do. */
export interface Acts {
  /** Resolves when the service was asked after the call; its manners hold. */
  askNow(serviceId: string): Promise<void>;
  /** Sends a test notice, and gives what came of it, without secrets. */
  testChannel(name: string): Promise<ChannelSaid>;
}

export interface ChannelSaid {
  /** Whether it was delivered. */
  readonly delivered: boolean;
  /** What the other side or the network said. */
  readonly detail: string;
}

/** What came of the last test of each channel, for the page that shows it. */
export interface Tests {
  of(channel: string): (ChannelSaid & { readonly at: number }) | null;
}

export type Limit = (act: string) => void;

export function serveActs(app: FastifyInstance, board: Board): Tests {
  const limit = limitOf(board);
  serveNotes(app, board, limit);
  serveKnown(app, board, limit);
  servePlanning(app, board, limit);
  const { acts } = board;
  if (!acts) return { of: () => null };
  serveAsking(app, { board, acts, limit });
  return serveTests(app, { board, acts, limit });
}

function serveNotes(app: FastifyInstance, board: Board, limit: Limit): void {
  const { record, clock, log } = board;
  app.post<{ Params: { id: string } }>(
    '/outages/:id/notes',
    { schema: { hide: true } },
    async (request, reply) => {
      const { fields } = ownerFieldsOf(request);
      const outage = await record.outage(request.params.id);
      if (!outage) throw new RequestProblem(404, 'No such outage is in the record.');
      limit(`note ${outage.id}`);
      const text = noteTextIn(fields.get('text') ?? '');
      const notes = await record.notes(outage.id);
      if (notes.length >= notesOfOutageCountMax) {
        throw new RequestProblem(409, `An outage has at most ${notesOfOutageCountMax} notes.`);
      }
      await record.note(outage.id, { at: clock.wallMs(), text });
      log.info({ outage: outage.id }, 'the owner noted something');
      return reply.redirect(`${outagePage(board, outage.id)}#owner-notes`, 303);
    },
  );
}

/** "I know": nobody is reminded of this outage any more. */
function serveKnown(
  app: FastifyInstance,
  { record, clock, log, ...board }: Board,
  limit: Limit,
): void {
  app.post<{ Params: { id: string } }>(
    '/outages/:id/known',
    { schema: { hide: true } },
    async (request, reply) => {
      ownerFieldsOf(request);
      const outage = await record.outage(request.params.id);
      if (!outage) throw new RequestProblem(404, 'No such outage is in the record.');
      limit(`known ${outage.id}`);
      await record.commit({ ...nothing, known: [{ outageId: outage.id, at: clock.wallMs() }] });
      log.info({ outage: outage.id }, 'the owner knows of an outage');
      return reply.redirect(`${outagePage(board, outage.id)}#notices`, 303);
    },
  );
}

const nothing = {
  observations: [],
  memories: [],
  spans: [],
  outages: [],
  unconfirmed: [],
  notices: [],
};

/** Lines without control characters, as they will be shown. Throws a RequestProblem for nothing and for too much. */
function noteTextIn(written: string): string {
  const text = written
    .split(/\r\n|\r|\n/)
    .map((line) => cleanText(line, noteCharsMax))
    .join('\n')
    .trim();
  if (text === '') throw new RequestProblem(400, 'The note is empty: write something first.');
  if (Array.from(written).length > noteCharsMax) {
    throw new RequestProblem(400, `A note has at most ${noteCharsMax} characters.`);
  }
  return text;
}

interface ActsGiven {
  readonly board: Board;
  readonly acts: Acts;
  readonly limit: Limit;
}

function serveAsking(app: FastifyInstance, { board, acts, limit }: ActsGiven): void {
  app.post<{ Params: { id: string } }>(
    '/services/:id/ask',
    { schema: { hide: true } },
    async (request, reply) => {
      ownerFieldsOf(request);
      const card = board.cardOf(request.params.id);
      if (!card) throw new RequestProblem(404, 'No service of this name is on the roll.');
      limit(`ask ${card.id}`);
      board.log.info({ service: card.id }, 'the owner asks now');
      // Its page shows the answer when it is there; a protocol may want a pause that nobody waits for.
      await Promise.race([acts.askNow(card.id), pause(board.clock, askWaitMsMax)]);
      return reply.redirect(`${servicePage(board, card.id)}#last`, 303);
    },
  );
}

function serveTests(app: FastifyInstance, { board, acts, limit }: ActsGiven): Tests {
  const said = new Map<string, ChannelSaid & { at: number }>();
  app.post('/channels/test', { schema: { hide: true } }, async (request, reply) => {
    const { fields } = ownerFieldsOf(request);
    const name = fields.get('channel') ?? '';
    const known = board.telling().channels.some((channel) => channel.name === name);
    if (!known) throw new RequestProblem(404, 'No channel of this name is configured.');
    limit(`test ${name}`);
    board.log.info({ channel: name }, 'the owner tests a channel');
    const answer = await acts.testChannel(name);
    said.set(name, { ...answer, at: board.clock.wallMs() });
    return reply.redirect(channelsPage(board), 303);
  });
  return { of: (channel) => said.get(channel) ?? null };
}

/** A pressed-down key must not knock at a service, nor fill the record. */
function limitOf({ clock }: Board): Limit {
  const limiter = limiterOf({
    clock,
    windowMs: actsWindowMs,
    eachCountMax: actsEachCountMax,
    allCountMax: actsAllCountMax,
  });
  return (act) => {
    const waitMs = limiter.take(act);
    if (waitMs === null) return;
    throw new RequestProblem(429, `That was often. Again in ${sayLasting(waitMs)}.`);
  };
}
